"""The page of decisions: what the course has adopted so far, and the sitting that the page's script collects."""

from dataclasses import dataclass

from trayconcord.generators.rendering import render
from trayconcord.kb import namespaces as ns
from trayconcord.kb.model import Ruling
from trayconcord.shapes.agenda import DECIDED
from trayconcord.shapes.check import Report
from trayconcord.shapes.wording import printed_text, ruling_text, scope_text


@dataclass(frozen=True)
class Standing:
    """A ruling that stands: where its topic is shown, and in words what the check finds about it, if anything."""

    ruling: Ruling
    question: str
    address: str
    conditions: str
    value: str
    troubles: tuple[str, ...]
    history: tuple[str, ...]


def decisions_page(report: Report, addresses: dict[str, str], common: dict[str, object]) -> str:
    """The page; ``addresses`` gives for each topic the page and fragment that shows it."""
    store = report.store
    parameters = store.vocabulary.parameters
    rulings = [ruling for ruling in store.rulings if ruling.value is not None]
    rulings.sort(key=lambda ruling: (parameters[ruling.parameter].order, len(ruling.when), ruling.id))
    found = [
        Standing(
            ruling=ruling,
            question=parameters[ruling.parameter].label,
            address=addresses[ruling.id],
            conditions=scope_text(ruling.when, store.vocabulary) or "in general",
            value=printed_text(ruling, store.vocabulary),
            troubles=_troubles(ruling, report),
            history=tuple(ruling_text(former, store.vocabulary) for former in store.history_of(ruling.id)),
        )
        for ruling in rulings
    ]
    return render("decisions.html.j2", rulings=found, **common)


def _troubles(ruling: Ruling, report: Report) -> tuple[str, ...]:
    focus = str(ns.iri(ns.RULING, ruling.id))
    return tuple(f.message for f in report.findings if f.rule in DECIDED and f.focus == focus)
