"""Hostile input: what the commands read, good seeds for it (spoil.py spoils them), and how an answer is watched.

`READERS` names every kind of file that a command reads, with the functions that the command calls on it. A new kind of
file is one function that makes seeds and one that reads, in that table; the quick tests, the long run (tests/fuzz.py)
and the runs of whole commands take it from there.
"""

import json
import logging
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from importlib.resources import files
from pathlib import Path

from hostile_world import CASE, PLAN, POLICY, RULINGS, SHAPES, WORLD, form_of, triples_of, turtle_of

from trayconcord.generators.changes import changes, document_of
from trayconcord.generators.changes_output import json_changes, page_of_changes, text_changes
from trayconcord.generators.check_cache import check_by_parts, read_kept, sealed
from trayconcord.generators.compare_output import chosen_topics, json_topics, text_parts
from trayconcord.generators.demo import lay_out
from trayconcord.generators.export import rules_document
from trayconcord.generators.export_files import one_file
from trayconcord.generators.item_bank import item_bank
from trayconcord.generators.item_output import items_json
from trayconcord.generators.manuscripts.checking import stale
from trayconcord.generators.manuscripts.command import json_verdicts
from trayconcord.generators.manuscripts.passages import read_record, record_json
from trayconcord.generators.manuscripts.rendering import render
from trayconcord.generators.marking_output import csv_marks, json_marks, text_marks
from trayconcord.generators.marking_pages import feedback_page
from trayconcord.generators.plan import plan
from trayconcord.generators.plan_output import json_plan, text_plan
from trayconcord.generators.plans import read_plan
from trayconcord.generators.withdrawn import read_previous, revisions, withdrawals
from trayconcord.kb.case_file import case_of_words, read_case
from trayconcord.kb.errors import UnusableInput, unusable
from trayconcord.kb.form_text import form_text
from trayconcord.kb.forms import Form, read_form
from trayconcord.kb.marking import policy_triples, read_policy
from trayconcord.kb.marking_form import policy_form
from trayconcord.kb.measured_file import read_measured
from trayconcord.kb.store import documents, load, shipped
from trayconcord.kb.triples import Triples
from trayconcord.kb.turtle import new_graph, read_turtle, write_turtle
from trayconcord.shapes.check import Report, check
from trayconcord.shapes.compare import Comparison
from trayconcord.shapes.facts import Facts
from trayconcord.shapes.marking import mark, sites_of
from trayconcord.shapes.rules import rule_book

PATIENCE = 5.0
"""Seconds of computing within which every input must be answered."""

WAIT = 60.0
"""Seconds after which a reader counts as waiting for something, however busy the machine is."""


class Hang(BaseException):
    """An input was not answered in time; no handler for ordinary exceptions may swallow this."""


@dataclass(frozen=True)
class Reader:
    """A kind of file: its name, good examples of it, and what a command does with one."""

    name: str
    seeds: Callable[[], list[bytes]]
    read: Callable[[Path], object]
    command: Callable[[Path], list[str]] | None = None
    """The arguments of a command line that reads the file."""


# --- what commands do with each kind of file -------------------------------------------------------------------------


def _read_form(path: Path) -> object:
    """As `add` does: read, write as Turtle, read that, and print the form back."""
    form = read_form(path, WORLD.vocabulary)
    graph = triples_of(form)
    again = new_graph()
    read_turtle(write_turtle(graph), "written.ttl", again)
    assert set(again) == set(graph)
    if form.source:
        path.write_text(form_text(form.source, form.claims), encoding="utf-8")
        assert set(triples_of(read_form(path, WORLD.vocabulary))) == set(triples_of(Form(form.source, form.claims)))
    return form


def _read_policy(path: Path) -> object:
    """As `add` and `form marking` do."""
    policy = read_form(path, WORLD.vocabulary).marking
    if policy is not None:
        graph = new_graph()
        policy_triples(graph, policy, WORLD.vocabulary)
        again = new_graph()
        policy_triples(again, read_policy(Triples(graph), WORLD.vocabulary) or policy, WORLD.vocabulary)
        assert set(again) == set(graph)
        policy_form(policy, WORLD.vocabulary).encode()
    return policy


def _read_source(path: Path) -> object:
    """As `check`, `compare` and `build` do with a file of a store."""
    store = WORLD.store(path.read_bytes())
    comparison = Comparison(store)
    Facts(store, comparison, date(2026, 5, 12))
    list(text_parts([(comparison.topics, store)], in_full=True))
    json_topics(comparison.topics, store.vocabulary)
    document = rules_document(store, comparison)
    for form in ("json", "turtle", "yaml"):
        one_file(form, document)
    for source in store.sources.values():
        form_text(source, store.claims_of(source.id)).encode()
    return store


def _check_source(path: Path) -> Report:
    """The whole check, which takes longer."""
    return check(WORLD.store(path.read_bytes()), rule_book(), date(2026, 5, 12))


def _read_shapes(path: Path) -> Report:
    return check(WORLD.store(turtle_of(form_of("one"))), rule_book([path]))


def _read_case(path: Path) -> object:
    case = read_case(path, WORLD.vocabulary)
    made = plan(WORLD.small, WORLD.comparison, case, "case.yaml")
    return text_plan(made).encode(), json_plan(made).encode()


def _read_measured(path: Path) -> object:
    """As `mark` does, without and with a policy."""
    case = case_of_words(["arch=maxillary", "impression-material=polyether"], WORLD.vocabulary).when
    measured = read_measured(path, WORLD.vocabulary, sites_of(case, WORLD.vocabulary))
    for store in (WORLD.small, replace(WORLD.small, marking=WORLD.policy)):
        marks = mark(store, WORLD.comparison, case, measured.trays)
        text_marks(marks, store).encode()
        json_marks(marks, store).encode()
        csv_marks(marks, store).encode()
        feedback_page(marks, store).encode()
    return measured


def _read_manuscript(path: Path) -> object:
    """As `render` does, and `render --check` with the text that comes out."""
    done = render(path, WORLD.small, WORLD.comparison, (("arch", "maxillary"),))
    verdict = stale(done.text, done.record, WORLD.small, WORLD.comparison)
    assert not verdict.stale, "what was rendered just now holds"
    return json_verdicts([(path, verdict)]).encode()


def _read_record(path: Path) -> object:
    """As `render --check` does with the file beside a rendered text."""
    record = read_record(path)
    return stale(RENDERED, record, WORLD.small, WORLD.comparison)


def _read_kept(path: Path) -> object:
    """As `check --cache` does, with a seal that fits; what is damaged is not used, without a word."""
    path.write_bytes(sealed(path.read_bytes()))
    found = read_kept(path)
    if not found:
        raise unusable(path, "is not used", "delete it")
    return found


def _read_words(path: Path) -> object:
    words = path.read_bytes().decode("utf-8", "surrogateescape").split("\n")
    for word in words:
        try:
            chosen_topics(WORLD.comparison, word)
        except UnusableInput as error:
            assert error.complaints
    return case_of_words(words, WORLD.vocabulary)


def _read_export(path: Path) -> object:
    old, new = document_of(path, only=True), WORLD.export
    for found in (changes(old, new), changes(new, old)):
        text_changes(found)
        json_changes(found)
        page_of_changes(found, "old", "new")
    return old


def _read_bank(path: Path) -> object:
    before = read_previous(path)
    bank = item_bank(WORLD.small, WORLD.comparison, 1)
    gone, revised = withdrawals(before, bank, WORLD.comparison), revisions(before, bank)
    return items_json(bank, gone, revised, WORLD.small, 1).encode()


# --- seeds -----------------------------------------------------------------------------------------------------------


@cache
def _forms() -> list[bytes]:
    demo = lay_out(WORLD.folder / "demo")
    store = load()
    sources = [store.sources[name] for name in sorted(store.sources)[::12]]
    texts = [form_of("one"), RULINGS, *(form_text(source, store.claims_of(source.id)) for source in sources)]
    found = [text.encode() for text in texts] + [path.read_bytes() for path in demo]
    return [data for data in found if len(data) < 6000]


@cache
def _turtles() -> list[bytes]:
    small = [turtle_of(form_of(name)) for name in ("one", "two")] + [turtle_of(RULINGS)]
    return small + [p.read_bytes() for p in sorted(shipped().glob("sources/*.ttl")) if p.stat().st_size < 1500]


@cache
def _exports() -> list[bytes]:
    document = WORLD.export
    return [json.dumps({**document, "rules": []}).encode(), json.dumps(document, ensure_ascii=False).encode()]


@cache
def _banks() -> list[bytes]:
    bank = item_bank(WORLD.small, WORLD.comparison, 1)
    gone = {"id": "x", "question": "q", "answer": "a", "parameter": "stop-count", "when": {"arch": "maxillary"}}
    withdrawn = {"items": [], "withdrawn": [{**gone, "reason": "r"}]}
    return [items_json(bank[:2], [], [], WORLD.small, 1).encode(), json.dumps(withdrawn).encode()]


def _plans() -> list[bytes]:
    return [PLAN.encode(), (files("trayconcord.generators") / "plans" / "default.yaml").read_bytes()]


MEASURED = b"""\
label: A class
instruments: {calliper: 0.1 mm}
uncertainty: {border-clearance: 0.3 mm}
trays:
- id: T-01
  note: As made.
  measured:
    border-clearance: {labial-sulcus: 2 mm, buccal-sulcus: {value: 2.2 mm, with: calliper}}
    spacer-thickness: 3 mm +- 0.2 mm
    stop-count: 4
    frenum-relief: {value: yes, unsure: yes}
    stop-sites: [canine-region, first-molar-region]
- {id: T-02, measured: {handle-inclination: 12 deg, wait-before-use: 24 h}}
"""
MANUSCRIPT = b"""\
# Trays
{% for region in ["labial-sulcus", "buccal-sulcus"] %}
- {{ region|upper }}: {{ value("border-clearance", region=region, single="say", contested="span", silent="say") }}
{% endfor %}
{% if 1 < 2 %}{{ both("stop-count", contested="positions", single="say", silent="say") }}{% endif %}
{{ table("impression-material", ["spacer-thickness"], contested="span", single="say", silent="say") }}
{{ term("irreversible-hydrocolloid") }} {{ cautions() }} {{ references() }}
"""
RENDERED = "# Trays\n2 mm of room and 4 stops\n"


@cache
def _kept() -> list[bytes]:
    check_by_parts(documents([WORLD.layer], True), "text", None, WORLD.folder / "kept")
    return [(WORLD.folder / "kept" / "check-text.json").read_bytes().split(b"\n")[1]]


def _records() -> list[bytes]:
    done = render(MANUSCRIPT.decode(), WORLD.small, WORLD.comparison, (("arch", "maxillary"),))
    return [record_json(done.record).encode()]


WORDS = [b"arch=maxillary\nimpression-material=polyether\narea=24 cm2", b"spacer-thickness?arch=maxillary&fit=spaced"]

READERS = {
    reader.name: reader
    for reader in (
        Reader("form", _forms, _read_form, lambda path: ["add", "--only", "--kb", str(path.parent / "kb"), str(path)]),
        Reader("source", _turtles, _read_source),
        Reader("checked-source", _turtles, _check_source),
        Reader(
            "shapes", lambda: [SHAPES.encode()], _read_shapes, lambda path: ["check", "--only", "--shapes", str(path)]
        ),
        Reader("case", lambda: [CASE.encode()], _read_case, lambda path: ["plan", "--only", str(path)]),
        Reader("words", lambda: WORDS, _read_words),
        Reader(
            "plan", _plans, lambda path: read_plan(path, WORLD.vocabulary),
            lambda path: ["sheets", "--only", "--out", str(path.parent / "sheets"), str(path)],
        ),
        Reader(
            "export", _exports, _read_export, lambda path: ["changes", "--only", str(path), str(WORLD.layer)]
        ),
        Reader(
            "policy", lambda: [POLICY], _read_policy,
            lambda path: ["add", "--only", "--kb", str(path.parent / "kb"), str(path)],
        ),
        Reader(
            "measured", lambda: [MEASURED], _read_measured,
            lambda path: ["mark", "--only", str(path), "--case", "arch=maxillary"],
        ),
        Reader(
            "manuscript", lambda: [MANUSCRIPT], _read_manuscript,
            lambda path: ["render", "--only", str(path), "--out", str(path.parent / "rendered")],
        ),
        Reader("record", _records, _read_record),
        Reader("kept", _kept, _read_kept),
        Reader("bank", _banks, _read_bank, lambda path: ["items", "--only", "--previous", str(path)]),
    )
}  # fmt: skip


# --- feeding ---------------------------------------------------------------------------------------------------------


def feed(reader: Reader, data: bytes) -> bool:
    """Give bytes to a reader; whether they were taken. Anything but that and `UnusableInput` is raised, also a `Hang`.

    What is refused must be told with a place, and nothing may be logged with a traceback.
    """
    path = WORLD.folder / f"{reader.name}.input"
    path.write_bytes(data)
    with _in_time(), _no_traceback_logged():
        try:
            reader.read(path)
        except UnusableInput as error:
            assert error.complaints and all(c.place.file and c.message for c in error.complaints)
            str(error).encode("utf-8", "backslashreplace")
            return False
    return True


@contextmanager
def _in_time() -> Iterator[None]:
    timers = ((signal.ITIMER_PROF, signal.SIGPROF, PATIENCE), (signal.ITIMER_REAL, signal.SIGALRM, WAIT))

    def ring(number: int, _: object) -> None:
        raise Hang(f"no answer in time ({signal.Signals(number).name})")

    before = [signal.signal(number, ring) for _, number, _ in timers]
    for timer, _, seconds in timers:
        signal.setitimer(timer, seconds)
    try:
        yield
    finally:
        for (timer, number, _), handler in zip(timers, before, strict=True):
            signal.setitimer(timer, 0)
            signal.signal(number, handler)


class _Listener(logging.Handler):
    def emit(self, record: logging.LogRecord) -> None:
        if record.exc_info:
            raise AssertionError(f"a traceback was logged: {record.getMessage()[:200]}")


@contextmanager
def _no_traceback_logged() -> Iterator[None]:
    listener = _Listener()
    logging.getLogger().addHandler(listener)
    try:
        yield
    finally:
        logging.getLogger().removeHandler(listener)
