"""Errors told to people: where, what is wrong, what to do."""

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """A position in a file; ``line`` and ``column`` count from 1, 0 means unknown."""

    file: str
    line: int = 0
    column: int = 0

    def __str__(self) -> str:
        text = self.file
        if self.line:
            text += f":{self.line}"
            if self.column:
                text += f":{self.column}"
        return text


@dataclass(frozen=True, slots=True, order=True)
class Complaint:
    """One thing that makes an input unusable, and the way to mend it."""

    place: Place
    message: str
    fix: str = ""

    def __str__(self) -> str:
        text = f"{self.place}: {self.message}"
        return f"{text}\n    fix: {self.fix}" if self.fix else text


class UnusableInput(Exception):
    """Input that cannot be understood; carries every complaint found, in file order."""

    def __init__(self, complaints: list[Complaint]) -> None:
        self.complaints = sorted(complaints)
        super().__init__("\n".join(str(complaint) for complaint in self.complaints))


def unusable(file: str | Path, message: str, fix: str = "") -> UnusableInput:
    """An `UnusableInput` with a single complaint about a file as a whole."""
    return UnusableInput([Complaint(Place(str(file)), message, fix)])


ALIKE = 0.7
"""How like a known word another has to be before it is taken for a slip of it, as `difflib` counts: 1 is the same."""


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word that an unknown one is most likely a slip of, to be offered as a fix; None where none is near."""
    return next(iter(get_close_matches(word, list(known), n=1, cutoff=ALIKE)), None)
