"""References: how a source is cited in a list, and the numbers it gets on a page."""

from dataclasses import dataclass

from trayconcord.kb.model import Claim, Source
from trayconcord.kb.store import Store

UNNAMED = "unnamed-source"
"""The fragment under which claims stand that name no source."""


def reference_text(source: Source) -> str:
    """A source as an entry of a reference list: authors, title, container, year, DOI or ISBN; language, withdrawal."""
    parts = [", ".join(_author(author) for author in source.authors), source.title, source.container]
    text = ". ".join(part.rstrip(".") for part in parts if part)
    if source.year:
        text += f"{', ' if source.container else '. '}{source.year}"
    text += "."
    if source.doi:
        text += f" doi:{source.doi}."
    if source.isbn:
        text += f" ISBN {source.isbn}."
    if source.language.partition("-")[0] not in ("", "en"):
        text += f" [{source.language}]"
    if source.withdrawn:
        text += f" [withdrawn: {source.withdrawn}]"
    return text


def _author(author: str) -> str:
    family, _, given = author.partition(",")
    initials = "".join(part[0] for part in given.replace("-", " ").split() if part)
    return f"{family} {initials}".strip()


@dataclass(frozen=True)
class Reference:
    """An entry of a list: its number, the source, its text, and the places in it that the page cites."""

    number: int
    source: str
    text: str
    places: tuple[str, ...]


class ReferenceList:
    """The sources that a page cites, numbered in the order in which they are first named."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._places: dict[str, set[str]] = {}
        self._numbers: dict[str, int] = {}

    def cite(self, claim: Claim) -> int:
        """The number of a claim's source on this page; the claim's place in it is remembered."""
        self._places.setdefault(claim.source, set()).add(claim.at)
        return self._numbers.setdefault(claim.source, len(self._numbers) + 1)

    def cited(self, claims: tuple[Claim, ...], most: int) -> tuple[tuple[int, ...], int]:
        """The numbers of the first claims' sources, and how many sources more there are."""
        first = claims[:most]
        more = {claim.source for claim in claims} - {claim.source for claim in first}
        return tuple(dict.fromkeys(self.cite(claim) for claim in first)), len(more)

    def entries(self) -> list[Reference]:
        """Every source cited, in order."""
        sources = self._store.sources
        return [
            Reference(
                number,
                source or UNNAMED,
                reference_text(sources[source]) if source in sources else source or UNNAMED,
                tuple(sorted(self._places[source] - {""})),
            )
            for source, number in self._numbers.items()
        ]
