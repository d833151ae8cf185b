"""Where the passages of a rendered text stand once its author has edited it.

Lines that are the same are matched first, then lines that were moved, then what is left word by word. A number counts
as one word with its sign, its decimals and its range, so that 2 mm is not found in 1.2 mm or in 1–2 mm.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher

from trayconcord.generators.manuscripts.passages import Passage

_WORD = re.compile(r"[-−–+]?\d[\d.,/–-]*|\w+|\s|.", re.DOTALL)
LONG = 4_000_000
"""Pairs of words up to which they are matched without shortcuts."""


@dataclass(frozen=True)
class Place:
    """Where a passage stands now, from one sign to another, and whether it is as it was printed."""

    start: int
    end: int
    kept: bool


def places(then: str, now: str, passages: Sequence[Passage]) -> list[Place | None]:
    """Where each passage of a text stands in the text as it is now; None where its lines are gone."""
    where = _matched(then, now)
    return [_place(passage, then, where) for passage in passages]


def _place(passage: Passage, then: str, where: list[int | None]) -> Place | None:
    mapped = where[passage.start : passage.end]
    if mapped and None not in mapped:
        first, last = mapped[0], mapped[-1]
        assert first is not None and last is not None
        if last - first == len(mapped) - 1:
            return Place(first, last + 1, True)
    left = then.rfind("\n", 0, passage.start) + 1
    right = then.find("\n", passage.end)
    right = len(then) if right < 0 else right
    before = next((place for place in reversed(where[left : passage.start]) if place is not None), None)
    after = next((place for place in where[passage.end : right] if place is not None), None)
    inside = [place for place in mapped if place is not None]
    if before is None and after is None and not inside:
        return None if mapped else Place(0, 0, True)
    known = inside or [place for place in (before, after) if place is not None]
    start = before + 1 if before is not None else min(known)
    end = after if after is not None else max(known) + 1
    return Place(start, max(start, end), not mapped)


def _matched(then: str, now: str) -> list[int | None]:
    """For each sign of a text its place in the other, or None."""
    where: list[int | None] = [None] * len(then)
    old, new = then.split("\n"), now.split("\n")
    old_starts, new_starts = _starts(old), _starts(new)

    def same_line(one: int, other: int) -> None:
        start, there = old_starts[one], new_starts[other]
        for offset in range(len(old[one])):
            where[start + offset] = there + offset
        if start + len(old[one]) < len(then):  # the end of the line
            where[start + len(old[one])] = there + len(new[other])

    blocks: list[tuple[range, range]] = []
    for kind, i1, i2, j1, j2 in SequenceMatcher(None, old, new, autojunk=len(old) > 5_000).get_opcodes():
        if kind == "equal":
            for one, other in zip(range(i1, i2), range(j1, j2), strict=True):
                same_line(one, other)
        else:
            blocks.append((range(i1, i2), range(j1, j2)))
    moved: dict[str, list[int]] = {}
    for _, there in blocks:
        for other in there:
            if new[other].strip():
                moved.setdefault(new[other], []).append(other)
    taken: set[int] = set()
    for here, there in blocks:
        for one in here:
            if moved.get(old[one]):
                other = moved[old[one]].pop(0)
                taken.add(other)
                same_line(one, other)
        left = [one for one in here if not old[one].strip() or where[old_starts[one]] is None]
        _words(
            [piece for one in left for piece in _pieces(old[one] + "\n", old_starts[one])],
            [piece for other in there if other not in taken for piece in _pieces(new[other] + "\n", new_starts[other])],
            where,
        )
    return where


def _starts(lines: list[str]) -> list[int]:
    starts, place = [], 0
    for line in lines:
        starts.append(place)
        place += len(line) + 1
    return starts


def _pieces(line: str, start: int) -> Iterator[tuple[str, int]]:
    return ((match[0], start + match.start()) for match in _WORD.finditer(line))


def _words(old: list[tuple[str, int]], new: list[tuple[str, int]], where: list[int | None]) -> None:
    """Match what is left of changed lines word by word."""
    matcher = SequenceMatcher(
        None, [word for word, _ in old], [word for word, _ in new], autojunk=len(old) * len(new) > LONG
    )
    for block in matcher.get_matching_blocks():
        for (word, start), (_, there) in zip(
            old[block.a : block.a + block.size], new[block.b : block.b + block.size], strict=True
        ):
            for offset in range(len(word)):
                if start + offset < len(where):
                    where[start + offset] = there + offset
