"""The references of a manuscript: numbered in the order of first use, and known by their source until they are printed.

A citation stands in a piece of text as a mark that names its sources, not its numbers: so two pieces of text can be
held against each other although a reference came in before them and moved the numbers.
"""

import re
from collections.abc import Sequence

from trayconcord.generators.manuscripts.formats import Format
from trayconcord.generators.references import UNNAMED, reference_text
from trayconcord.kb.model import Claim, Ruling
from trayconcord.kb.store import Store
from trayconcord.shapes.wording import name_of, scope_text

OPEN, BETWEEN, CLOSE = "\ufdd3", "\ufdd4", "\ufdd5"
_CITED = re.compile(f"{OPEN}([^{CLOSE}]*){CLOSE}")
_ALONE = "#"


def marked(keys: Sequence[str], more: int = 0) -> str:
    """The mark of a citation; empty where nothing is cited."""
    return f"{OPEN}{BETWEEN.join([str(more), *keys])}{CLOSE}" if keys else ""


def neutral(text: str) -> str:
    """A text whose citations name their sources: the same however they are numbered."""
    return _CITED.sub(lambda match: _named(match[1]), text)


def _named(inside: str) -> str:
    more, *keys = inside.split(BETWEEN)
    if more == _ALONE:
        return f"[@{keys[0]}]"
    return f"[@{' @'.join(keys)}{f' +{more}' if more != '0' else ''}]"


def without_citations(text: str) -> str:
    """A neutral text without its citations."""
    return re.sub(r" ?\[@[^\]]*\]", "", text)


class Citations:
    """The sources and rulings that a manuscript cites."""

    def __init__(self, store: Store, form: Format) -> None:
        self._store, self._form = store, form
        self._numbers: dict[str, int] = {}
        self._places: dict[str, set[str]] = {}
        self._rulings: dict[str, Ruling] = {}

    def key(self, record: Claim | Ruling) -> str:
        """The key under which a claim's source, or a ruling, is cited; the place in the source is remembered."""
        if isinstance(record, Ruling):
            key = f"ruling:{record.id}"
            self._rulings[key] = record
            self._places.setdefault(key, set())
            return key
        place = record.at
        if record.reported_by:
            place += f"{', ' if place else ''}reported in {name_of(self._store.sources, record.reported_by)}"
        elif record.obtained == "recalled":
            place += f"{' ' if place else ''}(from memory)"
        self._places.setdefault(record.source or UNNAMED, set()).add(place)
        return record.source or UNNAMED

    def source_key(self, source: str) -> str:
        """The key of a source that is cited as a whole."""
        self._places.setdefault(source, set())
        return source

    def numbered(self, text: str) -> str:
        """A text with numbers for its citations; what is cited here for the first time gets the next number."""
        return _CITED.sub(lambda match: self._with_numbers(match[1]), text)

    def _with_numbers(self, inside: str) -> str:
        more, *keys = inside.split(BETWEEN)
        numbers = sorted({self._numbers.setdefault(key, len(self._numbers) + 1) for key in keys})
        if more == _ALONE:
            return str(numbers[0])
        runs: list[list[int]] = []
        for number in numbers:
            if runs and runs[-1][-1] == number - 1:
                runs[-1].append(number)
            else:
                runs.append([number])
        told = []
        for run in runs:
            ends = [self._form.number(str(number)) for number in ([run[0], run[-1]] if len(run) > 2 else run)]
            told.append("–".join(ends) if len(run) > 2 else ", ".join(ends))
        rest = f" and {more} more" if more != "0" else ""
        return self._form.cited(", ".join(told) + rest)

    def entries(self) -> list[tuple[str, str]]:
        """The reference list so far: the mark of each number, and the text."""
        return [(f"{OPEN}{_ALONE}{BETWEEN}{key}{CLOSE}", self._form.escape(self._text(key))) for key in self._numbers]

    def _text(self, key: str) -> str:
        ruling = self._rulings.get(key)
        if ruling is not None:
            scope = scope_text(ruling.when, self._store.vocabulary) or "in general"
            label = self._store.vocabulary.parameters[ruling.parameter].label
            return f"{ruling.decided_by}. Ruling on {label}, {scope}, {ruling.decided_on}."
        known = self._store.sources.get(key)
        places = "; ".join(sorted(self._places[key] - {""}))
        return (reference_text(known) if known else f"{key}.") + (f" Cited: {places}." if places else "")

    @property
    def order(self) -> tuple[str, ...]:
        """What is cited, by key, in the order of the numbers."""
        return tuple(self._numbers)
