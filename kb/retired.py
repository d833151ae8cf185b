"""Ids that are no longer in use: which, why, and what took their place. An id is never used for something else."""

import re
from dataclasses import dataclass
from pathlib import Path

from trayconcord.kb.errors import Complaint, Place, UnusableInput, unusable

NAME = "retired-ids.txt"
"""The file of a layer that lists them."""

_LINE = re.compile(r"(?P<id>[^\s|]+/[^\s|]+)(?: -> (?P<replacement>[^\s|]+/[^\s|]+))? \| (?P<reason>\S.*)")


@dataclass(frozen=True, slots=True)
class Retired:
    """A retired id with its family, as in ``claim/some-source/stop-count``; ``replacement`` is one too, or empty."""

    id: str
    replacement: str
    reason: str


def read_retired(layer: Path) -> list[Retired]:
    """The retired ids of a layer, in the order of its file; none without one. Raises `UnusableInput` line by line."""
    path = layer / NAME
    if not path.is_file():
        return []
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        raise unusable(path, "cannot be read as UTF-8 text", "save the file as UTF-8") from None
    found, complaints = [], []
    for number, line in enumerate(lines, start=1):
        if not line.strip() or line.startswith("#"):
            continue
        read = _LINE.fullmatch(line.rstrip())
        if read:
            found.append(Retired(read["id"], read["replacement"] or "", read["reason"]))
        else:
            fix = "write: claim/OLD-ID -> claim/NEW-ID | reason, or without the arrow where nothing took its place"
            complaints.append(Complaint(Place(str(path), number), "is no line of a retired id", fix))
    if complaints:
        raise UnusableInput(complaints)
    return found
