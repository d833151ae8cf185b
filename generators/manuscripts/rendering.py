"""Rendering a manuscript: pass after pass, until what stands at its front knows what its end comes to use."""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from jinja2 import Template
from markupsafe import Markup

from trayconcord.generators.manuscripts.asking import Refusal, Said
from trayconcord.generators.manuscripts.citations import neutral
from trayconcord.generators.manuscripts.formats import Format, folder_for, format_of
from trayconcord.generators.manuscripts.functions import NAMES, Functions
from trayconcord.generators.manuscripts.passages import Passage, Query, Record, marked, taken_out
from trayconcord.generators.manuscripts.sandbox import CALL, Sandbox, compiled, line_now, run
from trayconcord.kb.errors import Complaint, Place, UnusableInput, unusable
from trayconcord.kb.files import read_given
from trayconcord.kb.model import Scope
from trayconcord.kb.store import Store
from trayconcord.shapes.compare import Comparison

LONGEST = 1_000_000
"""Signs of a manuscript that is read."""

MOST_PASSES = 6
"""Passes after which a manuscript has to have settled: three do for one that uses every function."""

UNCHECKED = ("store_hash",)
"""Functions whose answers are no passages: they change with any change of the store."""


@dataclass(frozen=True)
class Rendered:
    """A rendered manuscript: its text, the figures it shows (path beside it -> SVG), what came from the rules, and
    notes to its author."""

    text: str
    figures: dict[str, bytes]
    record: Record
    notes: tuple[str, ...]

    @property
    def passages(self) -> list[Passage]:
        """The places that come from the rules."""
        return self.record.passages


def render(
    manuscript: str | Path, store: Store, comparison: Comparison | None = None, case: Scope = (),
    *, name: str = "manuscript.md.j2", out: str = "",
) -> Rendered:  # fmt: skip
    """Fill a manuscript from the rules: a file, or a text with the ``name`` that tells its format.

    ``case`` holds where the manuscript names none; ``out`` is the name of the file that the text is for (the name
    without ``.j2``). Raises `UnusableInput` with every complaint at its line.
    """
    if isinstance(manuscript, Path):
        manuscript, name = read_manuscript(manuscript), str(manuscript)
    target = Path(out or name.removesuffix(".j2")).name
    compare = comparison or Comparison(store)
    form, folder = format_of(name), folder_for(target)
    before: Functions | None = None
    for _ in range(MOST_PASSES):
        last = _Pass(name, Functions(store, compare, case, form, folder, before))
        raw = last.run(manuscript)
        if last.functions.settled:
            break
        before = last.functions
    else:
        raise unusable(name, "asks for something else in every pass", "ask for nothing that depends on its own lists")
    text, passages = taken_out(raw, {number: query.text for number, query in enumerate(last.queries)})
    record = Record(Path(name).name, folder, dict(case), text, last.queries, passages)
    return Rendered(text, last.figures, record, tuple(_notes(last.functions)))


def read_manuscript(path: Path) -> str:
    """The text of a manuscript. Raises `UnusableInput`."""
    try:
        data = read_given(path)
    except OSError as error:
        raise unusable(path, f"cannot be read: {error.strerror}", "name a manuscript, as in manual.md.j2") from None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise UnusableInput([Complaint(Place(str(path), line), "is not UTF-8", "save it as UTF-8")]) from None
    return text


def _notes(functions: Functions) -> list[str]:
    notes = []
    if functions.citations.order and not functions.listed:
        notes.append("it cites and has no reference list: place references() where it belongs")
    unwarned = functions.unwarned()
    if unwarned:
        labels = ", ".join(caution.label for caution in unwarned)
        notes.append(f"what it uses calls for cautions that it does not show ({labels}): place cautions()")
    return notes


class _Pass:
    """One pass over a manuscript: what it asks, and where."""

    def __init__(self, name: str, functions: Functions) -> None:
        self.name, self.functions = name, functions
        self.queries: list[Query] = []
        self.figures: dict[str, bytes] = {}
        self.complaints: list[Complaint] = []
        self._waiting: list[tuple[int, int]] = []
        self._template: Template | None = None
        form = functions.form
        callables: dict[str, Callable[..., str]] = {known: partial(self._ask, known) for known in NAMES}
        self._sandbox = Sandbox(callables, self._printed, form.name == "html", form.name == "tex")

    def run(self, manuscript: str) -> str:
        """The text, with signs around what came from the rules. Raises `UnusableInput`."""
        if len(manuscript) > LONGEST:
            raise unusable(self.name, f"has {len(manuscript):,} signs", f"keep it below {LONGEST:,}")
        self._template = compiled(self._sandbox, manuscript, self.name)
        try:
            text = run(self._template, self._sandbox, self.name)
        except UnusableInput as error:
            raise UnusableInput([*self._told(), *error.complaints]) from None
        if self.complaints:
            raise UnusableInput(self._told())
        return text

    def _told(self) -> list[Complaint]:
        return list(dict.fromkeys(self.complaints))

    def _ask(self, function: str, /, *arguments: Any, **keywords: Any) -> str:
        """What a function answers, carrying its number. A refusal is noted, so that the author hears of all at once."""
        self._sandbox.spend(CALL)
        assert self._template is not None
        line = line_now(self._template)
        try:
            given = [plain_argument(argument) for argument in arguments]
            named = {name: plain_argument(value) for name, value in keywords.items()}
            said = self.functions.ask(function, given, named)
        except Refusal as refusal:
            message = f"{function}: {refusal.message}"
            self.complaints.append(Complaint(Place(self.name, line), message, refusal.fix))
            return _Answer.of("", -1, self.functions.form)
        query = queried(function, given, named, line, said, self.functions)
        self.figures |= said.figures
        if function in UNCHECKED:
            return _Answer.of(query.text, -1, self.functions.form)
        self.queries.append(query)
        number = len(self.queries) - 1
        self._waiting.append((number, line))
        return _Answer.of(query.text, number, self.functions.form)

    def _printed(self, value: Any) -> Any:
        """What an expression comes to, as it goes into the text: with signs around it if it came from the rules."""
        waiting, self._waiting = self._waiting, []
        number = getattr(value, "number", None)
        if isinstance(number, int):
            numbers = [number] if number >= 0 else []
        elif waiting and self._template is not None:
            here = line_now(self._template)
            numbers = [asked for asked, line in waiting if line == here]
        else:
            numbers = []
        self._sandbox.made(value)
        if not numbers or not isinstance(value, (str, int, float)):
            return value
        if self.functions.form.name == "html":
            return Markup(marked(str(Markup.escape(value)), numbers))
        return marked(str(value), numbers)


def plain_argument(value: Any) -> Any:
    """An argument of a function as plain data. Raises `Refusal` for anything that is none."""
    match value:
        case bool() | int() | float() | None:
            return value
        case str():
            return str.__str__(value)
        case list() | tuple():
            return [plain_argument(item) for item in value]
        case dict():
            return {str(key): plain_argument(item) for key, item in value.items()}
    str(value)  # something undefined complains of itself
    raise Refusal(f"{type(value).__name__} cannot be an argument", "give names in quotes, or lists of them")


def queried(
    function: str, arguments: list[Any], keywords: dict[str, Any], line: int, said: Said, functions: Functions
) -> Query:
    """A question with its answer, as it is recorded."""
    figures = {path: hashlib.sha256(data).hexdigest() for path, data in sorted(said.figures.items())}
    text = functions.citations.numbered(said.text)
    return Query(
        function, arguments, keywords, line, text, neutral(said.text), said.standing, list(said.claims), figures
    )  # fmt: skip


class _Answer:
    """A text that knows which query it answers, until the author makes another text of it."""

    @staticmethod
    def of(text: str, number: int, form: Format) -> str:
        answer: _PlainAnswer | _MarkupAnswer
        answer = _MarkupAnswer(text) if form.name == "html" else _PlainAnswer(text)
        answer.number = number
        return answer


class _PlainAnswer(str):
    number: int


class _MarkupAnswer(Markup):
    number: int
