"""Holding a rendered manuscript against the present rules: which passages no longer hold, and where they stand now."""

from collections.abc import Iterator
from dataclasses import dataclass
from difflib import SequenceMatcher

from trayconcord.generators.manuscripts.asking import Refusal
from trayconcord.generators.manuscripts.citations import without_citations
from trayconcord.generators.manuscripts.formats import format_of
from trayconcord.generators.manuscripts.functions import NAMES, Functions
from trayconcord.generators.manuscripts.passages import Query, Record
from trayconcord.generators.manuscripts.places import Place, places
from trayconcord.generators.manuscripts.rendering import MOST_PASSES, queried
from trayconcord.kb.errors import unusable
from trayconcord.kb.model import in_order
from trayconcord.kb.store import Store
from trayconcord.shapes.compare import Comparison


@dataclass(frozen=True)
class Stale:
    """A passage that no longer holds.

    ``kind`` is "value", "citation", "standing" or "figure" for what changed in the rules; "contested" or "unanswered"
    where they no longer give what is printed; "edited" where the text was changed by hand and is not what they say.
    ``line`` is that of the rendered text, or 0 for what the manuscript asked without printing it as it was;
    ``source_line`` is that of the manuscript.
    """

    line: int
    source_line: int
    kind: str
    about: str
    was: str
    now: str
    fix: str


@dataclass(frozen=True)
class Verdict:
    """What a check found: the passages that no longer hold, how many hold, and how many are gone from the text."""

    stale: tuple[Stale, ...]
    holding: int
    gone: int


def stale(text: str, record: Record, store: Store, comparison: Comparison | None = None) -> Verdict:
    """Hold a text, as it stands now, against the rules as they stand now. Raises `UnusableInput` for a record that
    speaks of conditions which the vocabulary no longer knows."""
    answers = _answers(record, store, comparison or Comparison(store))
    found: list[Stale] = []
    holding = gone = 0
    seen: set[int] = set()
    text = text.replace("\r\n", "\n").removeprefix("\ufeff")
    for passage, place in zip(record.passages, places(record.text, text, record.passages), strict=True):
        seen.update(passage.queries)
        if place is None:
            gone += 1
            continue
        printed = record.text[passage.start : passage.end]
        first = text.count("\n", 0, place.start) + 1
        pairs = [(record.queries[number], answers[number]) for number in passage.queries]
        if place.kept:
            told = [one for query, now in pairs for one in _changes(query, now, first)]
        else:
            told = list(_edited(printed, text, place, pairs, passage.whole))
        found += told
        holding += not told
    for number, query in enumerate(record.queries):
        if number not in seen:
            told = list(_changes(query, answers[number], 0))
            found += told
            holding += not told
    return Verdict(tuple(sorted(found, key=lambda one: (one.line, one.source_line))), holding, gone)


def _answers(record: Record, store: Store, comparison: Comparison) -> list[Query | Refusal]:
    """What the rules now answer to each query, in passes as when a manuscript is rendered."""
    vocabulary = store.vocabulary
    for axis, concept in record.case.items():
        if axis not in vocabulary.axes or concept not in vocabulary.concepts:
            raise unusable(record.manuscript, f"its case names {axis}: {concept}, which is no term", "render it again")
    case, form = in_order(record.case, vocabulary), format_of(record.manuscript)
    before: Functions | None = None
    answers: list[Query | Refusal] = []
    for _ in range(MOST_PASSES):
        functions = Functions(store, comparison, case, form, record.folder, before)
        answers = [_answer(query, functions) for query in record.queries]
        if functions.settled:
            break
        before = functions
    return answers


def _answer(query: Query, functions: Functions) -> Query | Refusal:
    if query.function not in NAMES:
        return Refusal(f"there is no function {query.function}", "render the manuscript again")
    try:
        said = functions.ask(query.function, query.arguments, query.keywords)
    except Refusal as refusal:
        return refusal
    return queried(query.function, query.arguments, query.keywords, query.line, said, functions)


def _changes(query: Query, now: Query | Refusal, first: int) -> Iterator[Stale]:
    """What changed in the answer to a query that is printed from a line on, hunk by hunk."""

    def one(line: int, kind: str, was: str, told: str, fix: str) -> Stale:
        return Stale(line if first else 0, query.line, kind, query.about, was, told, fix)

    again = "render the manuscript again, or write what the rules say now"
    if isinstance(now, Refusal):
        kind = "contested" if now.standing == "contested" else "unanswered"
        yield one(first, kind, query.text.split("\n")[0], now.message, now.fix)
        return
    if query.says != now.says:
        was, told = (text.split("\n") for text in (query.text, now.text))
        bare_was, bare_told = (text.split("\n") for text in (query.says, now.says))
        for i1, i2, j1, j2 in _hunks(bare_was, bare_told):
            cited = [without_citations("\n".join(part)) for part in (bare_was[i1:i2], bare_told[j1:j2])]
            if cited[0] == cited[1]:
                parts = "\n".join(bare_was[i1:i2]), "\n".join(bare_told[j1:j2])
                yield one(first + i1, "citation", *parts, again)
            else:
                yield one(first + i1, "value", "\n".join(was[i1:i2]), "\n".join(told[j1:j2]), again)
    elif query.standing != now.standing:
        yield one(first, "standing", query.standing, now.standing, "look at it, and render the manuscript again")
    if query.figures != now.figures and query.says == now.says:
        yield one(first, "figure", ", ".join(query.figures), "is drawn otherwise now", "render the manuscript again")


def _edited(
    printed: str, text: str, place: Place, pairs: list[tuple[Query, Query | Refusal]], whole: bool
) -> Iterator[Stale]:
    """What an author changed by hand, unless it is what the rules say now."""
    found = text[place.start : place.end]
    query, now = pairs[0]
    changed = whole and not isinstance(now, Refusal) and now.says != query.says
    wanted = now.text if changed and not isinstance(now, Refusal) else printed
    if found.strip() == wanted.strip():
        return
    first = text.count("\n", 0, place.start) + 1
    rules = f"; the rules say: {wanted}" if "\n" not in wanted else ""
    if isinstance(now, Refusal):
        rules = f"; {now.message}"
    elif not whole:
        rules = f"; the rules say: {', '.join(n.text for _, n in pairs if not isinstance(n, Refusal))}"
    was, told = wanted.split("\n"), found.split("\n")
    for i1, i2, j1, j2 in _hunks(was, told):
        fix = f"change the manuscript, line {query.line}, and render it again{rules}"
        yield Stale(
            first + j1, query.line, "edited", query.about, "\n".join(was[i1:i2]), "\n".join(told[j1:j2]), fix
        )  # fmt: skip


def _hunks(was: list[str], now: list[str]) -> Iterator[tuple[int, int, int, int]]:
    for kind, i1, i2, j1, j2 in SequenceMatcher(None, was, now, autojunk=False).get_opcodes():
        if kind != "equal":
            yield i1, i2, j1, j2
