"""Voices: which sources speak as one author, which edition speaks, and what is only repeated."""

from collections.abc import Iterable

from trayconcord.kb.model import Source


class Voices:
    """The independent authors behind a set of sources. A source that has no record is a voice of its own."""

    def __init__(self, sources: dict[str, Source]) -> None:
        self.sources = sources
        self.compiled = {source.id for source in sources.values() if source.compiled_from}
        """The sources that are compiled from others."""
        self._voice: dict[str, str] = {}
        self._origins: dict[str, frozenset[str]] = {}

    def voice(self, source: str) -> str:
        """The voice of a source: the work at the end of its chain of editions."""
        known = self._voice.get(source)
        if known is None:
            chain = [source]
            while (record := self.sources.get(chain[-1])) and record.edition_of and record.edition_of not in chain:
                chain.append(record.edition_of)
            end = self.sources.get(chain[-1])
            cycle = end.edition_of if end and end.edition_of in chain else ""
            known = min(chain[chain.index(cycle) :]) if cycle else chain[-1]
            self._voice[source] = known
        return known

    def newest(self, sources: Iterable[str]) -> str:
        """Of several editions the one that speaks: the latest year, then the later id."""
        return max(sources, key=lambda source: (self.sources[source].year if source in self.sources else 0, source))

    def origins(self, source: str) -> frozenset[str]:
        """The other voices that a source is compiled from, at any remove. In a circle nobody repeats anybody."""
        known = self._origins.get(source)
        if known is None:
            behind = {origin for origin in self._behind(source) if source not in self._behind(origin)}
            known = frozenset(self.voice(origin) for origin in behind) - {self.voice(source)}
            self._origins[source] = known
        return known

    def circular(self, among: Iterable[str]) -> list[str]:
        """The sources, of those given, that derive from themselves, by compilation or by edition."""
        return sorted(source for source in among if source in self._behind(source, editions=True))

    def _behind(self, source: str, editions: bool = False) -> set[str]:
        found: set[str] = set()
        todo = [source]
        while todo:
            record = self.sources.get(todo.pop())
            if record:
                parents = record.compiled_from + ((record.edition_of,) if editions and record.edition_of else ())
                todo += [parent for parent in parents if parent not in found]
                found.update(parents)
        return found

    def superseded(self, voice_of: dict[str, str]) -> dict[str, str]:
        """Of the sources that speak of one parameter, given with their voices, those that a newer edition speaks for:
        with that edition."""
        if len(set(voice_of.values())) == len(voice_of):
            return {}
        editions: dict[str, set[str]] = {}
        for source, voice in voice_of.items():
            editions.setdefault(voice, set()).add(source)
        newest = {voice: self.newest(sources) for voice, sources in editions.items()}
        return {source: newest[voice] for source, voice in voice_of.items() if newest[voice] != source}
