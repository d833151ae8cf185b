"""The site: overview, reconciliation, questions, study sheets and sources, as HTML that needs no network.

Every page can be read without its script, which adds the search, the filters and the collecting of decisions.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from importlib.metadata import version
from typing import Any

from markupsafe import Markup

from trayconcord.generators.agenda_page import agenda_page
from trayconcord.generators.charts import Scale, range_chart, scale_of, standing_bar
from trayconcord.generators.decisions_page import decisions_page
from trayconcord.generators.glossary import glossary
from trayconcord.generators.overview import chapter_standings, coverage
from trayconcord.generators.references import UNNAMED, reference_text
from trayconcord.generators.rendering import cautions_of, render, template_text
from trayconcord.generators.sheet_pages import site_sheets
from trayconcord.generators.site_data import NAME as DATA
from trayconcord.generators.site_data import site_data
from trayconcord.kb.model import Claim, Source, comparable
from trayconcord.kb.store import Store
from trayconcord.kb.vocabulary import Parameter
from trayconcord.shapes.agenda import agenda
from trayconcord.shapes.agreement import agreement
from trayconcord.shapes.check import Report
from trayconcord.shapes.clashes import Clash, clashes
from trayconcord.shapes.compare import Topic
from trayconcord.shapes.wording import (
    both_ways_text,
    letter,
    merged_text,
    name_of,
    position_text,
    printed_text,
    ruling_text,
    scope_text,
    shown_text,
)

PLAIN = ("style.css", "site.js", "find.js", "rulings.js", "decide.js", "decisions.js")
"""What is handed out as it stands."""
COVERAGE_SHOWN = 15
"""Sources in the table of the overview; all of them have a page of their own."""


def site_pages(report: Report) -> dict[str, bytes]:
    """Every page of the site, by file name."""
    store = report.store
    sections = [section for section in _sections(report) if section.topics]
    standings = chapter_standings([block.topic for section in sections for block in section.topics], store)
    covered = coverage(store)
    longest = max((standing.total for standing in standings), default=1)
    common: dict[str, Any] = {"store": store, "report": report, "version": version("trayconcord"), "name_of": name_of}
    common["store_hash"] = store.hash
    addresses = {block.topic.id: block.address for section in sections for block in section.topics}
    contested = [section for section in sorted(sections, key=Section.rank) if section.count("contested")]
    pages = {
        "index.html": render(
            "index.html.j2",
            sections=sections,
            chapters=_by_chapter(store, sections),
            agreement=agreement(report.comparison),
            standings=[(standing, Markup(standing_bar(standing, longest))) for standing in standings],
            coverage=covered[:COVERAGE_SHOWN],
            **common,
        ),
        "coverage.html": render("coverage.html.j2", coverage=covered, **common),
        "find.html": render("find.html.j2", sections=sections, **common),
        "agenda.html": agenda_page(agenda(report), store, addresses),
        "decisions.html": decisions_page(report, addresses, common),
        "reconciliation.html": render(
            "reconciliation.html.j2",
            contested=contested,
            contents=_by_chapter(store, contested),
            settled=[section for section in sections if not section.count("contested")],
            cautions=cautions_of(store, store.claims),
            **common,
        ),
        "sources.html": render("sources.html.j2", sources=_sources(store), **common),
    }
    for section in sections:
        about = [claim for claim in store.claims if claim.parameter == section.parameter.id]
        pages[f"question-{section.parameter.id}.html"] = render(
            "question.html.j2", section=section, cautions=cautions_of(store, about), **common
        )
    pages["glossary.html"] = render("glossary.html.j2", glossary=glossary(store.vocabulary), **common)
    pages |= site_sheets(report.comparison, store, store.hash)
    pages[DATA] = site_data([block.topic for section in sections for block in section.topics], store)
    pages |= {name: template_text(name) for name in PLAIN}
    return {name: text.encode() for name, text in pages.items()}


@dataclass(frozen=True)
class Row:
    """One claim of a topic as the table shows it."""

    claim: Claim
    letters: tuple[str, ...]
    stated: str
    converted: str
    source: str
    kind: str
    how: str
    scope: str


@dataclass(frozen=True)
class Why:
    """One clash of a topic in words: what either side says, of which case, and the case in which they meet."""

    sides: list[tuple[str, list[tuple[str, str]], str]]
    """Per side its value (empty where it is too long to tell again), its claims (id, source) and its case."""
    common: str
    disputed: str


@dataclass(frozen=True)
class Block:
    """One topic as the reconciliation page shows it."""

    topic: Topic
    conditions: str
    positions: list[tuple[str, str]]
    rows: list[Row]
    chart: Markup
    ruling: str
    derived: bool
    history: tuple[str, ...] = ()
    both_ways: str = ""
    merged: str = ""
    why: tuple[Why, ...] = ()

    @property
    def anchor(self) -> str:
        """The fragment by which the topic is linked."""
        return anchor(self.topic)

    @property
    def address(self) -> str:
        """The page and fragment of the topic."""
        return f"question-{self.topic.parameter.id}.html#{self.anchor}"


@dataclass(frozen=True)
class Section:
    """A parameter with its topics, the contested ones first."""

    parameter: Parameter
    topics: list[Block]

    @property
    def stated(self) -> list[Block]:
        """The topics at the conditions that a source states."""
        return [block for block in self.topics if not block.derived]

    @property
    def met(self) -> list[Block]:
        """The narrower cases in which statements about different conditions meet and clash."""
        return [block for block in self.topics if block.derived]

    @property
    def ruled(self) -> int:
        """On how many topics the course has decided."""
        return sum(block.topic.ruling is not None for block in self.topics)

    def count(self, standing: str) -> int:
        """How many topics have this standing."""
        return sum(block.topic.standing == standing for block in self.topics)

    def rank(self) -> tuple[bool, bool, int, int]:
        """The contested first, the firm before the others, by the number of voices."""
        contested = [block.topic for block in self.topics if block.topic.standing == "contested"]
        firm = any(topic.firm for topic in contested)
        return not contested, not firm, -max((len(t.voices) for t in contested), default=0), self.parameter.order


def anchor(topic: Topic) -> str:
    """The fragment by which a topic is linked: its id with plain signs. A bare parameter is the whole section."""
    if not topic.when:
        return f"{topic.id}--in-general"
    return topic.id.replace("?", "--").replace("=", "-").replace("&", "--")


def _sections(report: Report) -> Iterable[Section]:
    store = report.store
    scopes = {(claim.parameter, claim.when) for claim in store.claims}
    scopes |= {(ruling.parameter, ruling.when) for ruling in store.rulings}
    by_parameter: dict[str, list[Topic]] = {}
    for topic in report.comparison.answered:
        by_parameter.setdefault(topic.parameter.id, []).append(topic)
    gravity = {"contested": 0, "agreed": 1, "single": 2, "silent": 3}
    for parameter in store.vocabulary.parameters.values():
        topics = by_parameter.get(parameter.id, [])
        scale = scale_of(topics, store) if parameter.kind in ("interval", "count") else None
        blocks = [_block(topic, store, (parameter.id, topic.when) not in scopes, scale) for topic in topics]
        blocks.sort(key=lambda b: (gravity[b.topic.standing], not b.topic.firm, len(b.topic.when)))
        yield Section(parameter, blocks)


def _block(topic: Topic, store: Store, derived: bool, scale: Scale | None) -> Block:
    vocabulary, parameter = store.vocabulary, topic.parameter
    numbers: dict[str, tuple[int, ...]] = {}
    for number, position in enumerate(topic.positions):
        for claim in position.claims:
            numbers[claim.id] = (*numbers.get(claim.id, ()), number)
    clash = parameter.kind == "order" and len(topic.positions) > 1
    return Block(
        topic=topic,
        conditions=scope_text(topic.when, vocabulary) or "in general",
        positions=[
            (letter(number), position_text(position, parameter, vocabulary, topic.when))
            for number, position in enumerate(topic.positions)
        ],
        rows=[_row(claim, numbers[claim.id], store) for claim in _in_order(topic, numbers)],
        chart=Markup(range_chart(topic, store, scale)) if scale and not derived else Markup(""),
        ruling=printed_text(topic.ruling, vocabulary) if topic.ruling else "",
        derived=derived,
        history=tuple(ruling_text(former, vocabulary) for former in store.history_of(topic.ruling.id))
        if topic.ruling and not derived
        else (),
        both_ways=both_ways_text(topic, vocabulary) if clash else "",
        merged=merged_text(topic, vocabulary) if clash else "",
        why=tuple(_why(found, topic, store) for found in clashes(topic, vocabulary)) if not derived else (),
    )


def _why(clash: Clash, topic: Topic, store: Store) -> Why:
    vocabulary, parameter = store.vocabulary, topic.parameter
    return Why(
        sides=[
            (
                ""
                if parameter.kind in ("set", "order")
                else shown_text(side.value, side.claims, parameter, vocabulary),
                [(claim.id, name_of(store.sources, claim.source)) for claim in side.claims],
                scope_text(side.when, vocabulary),
            )
            for side in (clash.one, clash.other)
        ],
        common=scope_text(clash.common, vocabulary),
        disputed="; ".join(clash.disputed),
    )


def _in_order(topic: Topic, numbers: dict[str, tuple[int, ...]]) -> list[Claim]:
    return sorted(topic.claims, key=lambda claim: (numbers[claim.id], claim.id))


def _row(claim: Claim, numbers: tuple[int, ...], store: Store) -> Row:
    vocabulary = store.vocabulary
    parameter = vocabulary.parameters[claim.parameter]
    stated = printed_text(claim, vocabulary)
    converted = ""
    if claim.printed and claim.value is not None:
        value = shown_text(comparable(claim.value, parameter, vocabulary), [claim], parameter, vocabulary, beside=False)
        same = _plain(stated) == _plain(value)
        converted = "" if same else value
    return Row(
        claim=claim,
        letters=tuple(letter(number) for number in numbers),
        stated=stated,
        converted=converted,
        source=name_of(store.sources, claim.source),
        kind=kind_label(claim.source, store),
        how=claim.obtained + (f" in {name_of(store.sources, claim.reported_by)}" if claim.reported_by else ""),
        scope=scope_text(claim.when, vocabulary),
    )


def kind_label(source: str, store: Store) -> str:
    """What kind of evidence a source is, in words; empty where the store does not say."""
    kind = store.sources[source].kind if source in store.sources else ""
    return store.vocabulary.kinds[kind].label if kind in store.vocabulary.kinds else ""


def _plain(text: str) -> str:
    """A quantity without the signs in which print and our own text differ."""
    for printed, ours in (
        ("–", "-"),
        (" to ", "-"),
        (">=", "at least"),
        ("≥", "at least"),
        ("<=", "at most"),
        ("≤", "at most"),
    ):
        text = text.replace(printed, ours)
    text = re.sub(r"(\.\d*?)0+(?!\d)", lambda found: found[1].rstrip("."), text)  # 1.20 says what 1.2 says
    return text.removeprefix("about ").replace(" ", "")


def _by_chapter(store: Store, sections: list[Section]) -> list[tuple[str, list[Section]]]:
    grouped = [
        (chapter.label, [section for section in sections if section.parameter.chapter == chapter.id])
        for chapter in store.vocabulary.chapters.values()
    ]
    return [(label, found) for label, found in grouped if found]


def _all_sources(store: Store) -> list[Source]:
    """Every source that a page may link to, also one that is named without a record in the store."""
    named = {claim.source for claim in store.claims}
    for source in store.sources.values():
        named.update(source.compiled_from, [source.edition_of] if source.edition_of else [])
    missing = [Source(id=source) for source in named - set(store.sources)]
    return sorted(
        [*store.sources.values(), *missing], key=lambda s: (name_of(store.sources, s.id).strip("“").casefold(), s.id)
    )


def _sources(store: Store) -> list[dict[str, Any]]:
    entries = []
    for source in _all_sources(store):
        claims = store.claims_of(source.id)
        reports = [claim for claim in store.claims if claim.reported_by == source.id]
        entries.append(
            {
                "id": source.id or UNNAMED,
                "source": source,
                "name": name_of(store.sources, source.id),
                "reference": reference_text(source) if source.id in store.sources else "No record in the store.",
                "kind": kind_label(source.id, store),
                "claims": [
                    (
                        claim,
                        store.vocabulary.parameters.get(claim.parameter),
                        _row_or_none(claim, store),
                        str(store.place_of_claim(claim.id)),
                    )
                    for claim in claims
                ],
                "reports": len(reports),
            }
        )
    return entries


def _row_or_none(claim: Claim, store: Store) -> Row | None:
    return _row(claim, (), store) if claim.value is not None else None
