"""The site: overview, reconciliation, study sheets and sources, as HTML that needs no network and no script."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from importlib.metadata import version
from importlib.resources import files
from typing import Any

from jinja2 import DictLoader, Environment, StrictUndefined
from markupsafe import Markup

from trayconcord.generators.charts import Scale, letter, range_chart, scale_of
from trayconcord.generators.references import UNNAMED, ReferenceList, reference_text
from trayconcord.generators.sheets import claims_about, study_sheet
from trayconcord.kb.model import Claim, Source, comparable, concepts_in
from trayconcord.kb.store import Store
from trayconcord.kb.vocabulary import Caution, Parameter
from trayconcord.shapes.agreement import agreement
from trayconcord.shapes.check import Report
from trayconcord.shapes.compare import Topic
from trayconcord.shapes.findings import name_of
from trayconcord.shapes.wording import both_ways_text, comparable_text, merged_text, scope_text, stated_text

ARCHES = ("maxillary", "mandibular")


def site_pages(report: Report) -> dict[str, bytes]:
    """Every page of the site, by file name."""
    store = report.store
    sections = [section for section in _sections(report) if section.topics]
    common = {"store": store, "report": report, "version": version("trayconcord"), "name_of": name_of}
    pages = {
        "index.html": render(
            "index.html.j2",
            sections=sections,
            chapters=_by_chapter(store, sections),
            agreement=agreement(report.comparison),
            **common,
        ),
        "reconciliation.html": render(
            "reconciliation.html.j2",
            contested=[section for section in sorted(sections, key=Section.rank) if section.count("contested")],
            settled=[section for section in sections if not section.count("contested")],
            cautions=_cautions(store, store.claims),
            **common,
        ),
        "sources.html": render("sources.html.j2", sources=_sources(store), **common),
    }
    for section in sections:
        about = [claim for claim in store.claims if claim.parameter == section.parameter.id]
        pages[f"question-{section.parameter.id}.html"] = render(
            "question.html.j2", section=section, cautions=_cautions(store, about), **common
        )
    for arch in ARCHES:
        references = ReferenceList(store)
        sheet = study_sheet(report.comparison, store, arch, references)
        pages[f"study-sheet-{arch}.html"] = render(
            "sheet.html.j2",
            sheet=sheet,
            arch=store.vocabulary.concepts[arch],
            references=references.entries(),
            cautions=_cautions(store, claims_about(arch, store)),
            **common,
        )
    return {name: text.encode() for name, text in pages.items()} | {"style.css": template_text("style.css").encode()}


def _cautions(store: Store, claims: list[Claim]) -> list[Caution]:
    """The cautions that a page must show because of what its claims name."""
    return store.vocabulary.cautions_for(concept for claim in claims for concept in concepts_in(claim))


@dataclass(frozen=True)
class Row:
    """One claim of a topic as the table shows it."""

    claim: Claim
    letters: tuple[str, ...]
    stated: str
    converted: str
    source: str
    how: str
    scope: str


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
    both_ways: str = ""
    merged: str = ""

    @property
    def anchor(self) -> str:
        """The fragment by which the topic is linked."""
        return anchor(self.topic)


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
            (letter(number), comparable_text(position.value, parameter, vocabulary))
            for number, position in enumerate(topic.positions)
        ],
        rows=[_row(claim, numbers[claim.id], store) for claim in _in_order(topic, numbers)],
        chart=Markup(range_chart(topic, store, scale)) if scale and not derived else Markup(""),
        ruling=stated_text(topic.ruling, vocabulary) if topic.ruling else "",
        derived=derived,
        both_ways=both_ways_text(topic, vocabulary) if clash else "",
        merged=merged_text(topic, vocabulary) if clash else "",
    )


def _in_order(topic: Topic, numbers: dict[str, tuple[int, ...]]) -> list[Claim]:
    return sorted(topic.claims, key=lambda claim: (numbers[claim.id], claim.id))


def _row(claim: Claim, numbers: tuple[int, ...], store: Store) -> Row:
    vocabulary = store.vocabulary
    parameter = vocabulary.parameters[claim.parameter]
    stated = stated_text(claim, vocabulary)
    converted = ""
    if claim.printed and claim.value is not None:
        value = comparable_text(comparable(claim.value, parameter, vocabulary), parameter, vocabulary)
        same = _plain(stated) == _plain(value)
        converted = "" if same else value
    return Row(
        claim=claim,
        letters=tuple(letter(number) for number in numbers),
        stated=stated,
        converted=converted,
        source=name_of(store.sources, claim.source),
        how=claim.obtained + (f" in {name_of(store.sources, claim.reported_by)}" if claim.reported_by else ""),
        scope=scope_text(claim.when, vocabulary),
    )


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
                "kind": store.vocabulary.kinds[source.kind].label if source.kind in store.vocabulary.kinds else "",
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


def template_text(name: str) -> str:
    """The text of a shipped template or style sheet."""
    return (files("trayconcord.generators") / "templates" / name).read_text(encoding="utf-8")


@cache
def _environment() -> Environment:
    names = [
        path.name for path in (files("trayconcord.generators") / "templates").iterdir() if path.name.endswith(".j2")
    ]
    return Environment(
        loader=DictLoader({name: template_text(name) for name in sorted(names)}),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )


def render(name: str, **context: Any) -> str:
    """A template filled in; text from the store is escaped."""
    return _environment().get_template(name).render(**context)
