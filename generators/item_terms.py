"""Items about terms: one of several, a member of a set, what is left out, a statement of yes.

What no source names may be right all the same. A term is wrong only where somebody excludes it, where the vocabulary
knows it for an error, or where the list of what is right is closed.
"""

from collections.abc import Iterator
from dataclasses import replace

from trayconcord.generators.ground import Ground, Members
from trayconcord.generators.item_making import Workshop, named_in, named_out
from trayconcord.generators.items import Item, Option, pick
from trayconcord.kb.model import Claim, Scope
from trayconcord.kb.values import Choice, Comparable, YesNo
from trayconcord.shapes.scopes import meet

COMPARED = "compared-with"
CONTRAST, ELSEWHERE, OTHERWISE, NEIGHBOUR = range(4)
"""Where a term that serves as a distractor comes from, the most telling first."""


class Terms(Workshop):
    """Makes the items about terms."""

    def choices(self, ground: Ground) -> Iterator[Item]:
        """The key is the widest term that a voice takes: what a narrower one says implies it."""
        terms = [value.concept for value in ground.binding if isinstance(value, Choice)]
        key = Choice(min(terms, key=lambda term: (len(self.vocabulary.above[term]), term)))
        if not (ground.supported(key) and self._fits(key.concept, ground) and self._enough(ground, ground.deciding)):
            return
        candidates = self._candidates(ground)
        concepts = sorted(concept for concept in candidates if self._answers(concept, ground))
        distractors = [
            self._term(
                concepts[n],
                tuple(candidates[concepts[n]][1]),
                candidates[concepts[n]][0],
                self._taken(ground, candidates[concepts[n]][1]),
            )
            for n in ground.contradicting([Choice(concept) for concept in concepts])
        ]
        behind = ground.deciding
        yield from self._built(ground, "choice", self._term(key.concept, behind), distractors + self._errors(ground))
        yield from self._cases(ground, key, behind)

    def _answers(self, concept: str, ground: Ground) -> bool:
        """Whether a term answers the question at all: a comparison is won by one of the two compared, or by none."""
        sides = self._sides(ground.when)
        return not sides or concept in sides or self._verdict(concept)

    def _verdict(self, concept: str) -> bool:
        """Whether a term is no side of a comparison, such as that there is no difference."""
        sides = {axis.scheme for axis in self.vocabulary.axes.values()}
        return sides.isdisjoint(self.vocabulary.concepts[concept].schemes)

    def _sides(self, when: Scope) -> set[str]:
        """The two that a comparison compares; empty where nothing is compared."""
        compared = dict(when).get(COMPARED)
        if compared is None:
            return set()
        kinds = set(self.vocabulary.concepts[compared].schemes)
        return {c for axis, c in when if axis == COMPARED or self.vocabulary.axes[axis].scheme in kinds}

    def members(self, ground: Ground) -> Iterator[Item]:
        """Which term belongs to a set, by its own name and with nobody against it; what is left out of it."""
        members = Members(ground)
        right = self._right(ground, members)
        wrong = [*self._excluded(ground, members), *self._errors(ground), *self._outside_list(ground, members)]
        for key in right:
            if any(record.when == ground.when for record in key.records):
                concept = _concept(key)
                yield from self._built(ground, "belongs", key, wrong, concept)
                yield from self._cases(ground, Choice(concept), key.records)
        for concept, records in sorted(members.outside.items()):
            named = tuple(r for r in records if concept in named_out(r) and r in ground.deciding)
            if members.unnamed(concept) and self._enough(ground, named) and self._fits(concept, ground):
                yield from self._built(ground, "left-out", self._term(concept, named), right, concept)
        if any(record.when == ground.when for key in right for record in key.records):
            yield from self._not_named(ground, right, wrong)

    def _not_named(self, ground: Ground, right: list[Option], wrong: list[Option]) -> Iterator[Item]:
        """What does not belong: an error, or what nobody names of a closed list; the fewer the members, the fewer
        such items, since they all offer the same others."""
        known = [option for option in wrong if option.error or (ground.parameter.closed_list and not option.tier)]
        left = max(1, len(right) - 2)
        for option in sorted(known, key=lambda o: pick(self.seed, ground.topic.id, o.text)):
            key = replace(option, records=())  # who names it elsewhere is no reason here
            if left and (built := self._built(ground, "unnamed", key, right, option.error or _concept(option))):
                left -= 1
                yield from built

    def _right(self, ground: Ground, members: Members) -> list[Option]:
        """The members that enough voices name and nobody disputes, those of most voices first."""
        found = []
        for concept, records in sorted(members.inside.items()):
            named = tuple(r for r in records if concept in named_in(r) and r in ground.deciding)
            if self._enough(ground, named) and members.undisputed(concept) and self._fits(concept, ground):
                found.append(self._term(concept, named, -self._voices(named), "named for this case"))
        return found

    def _excluded(self, ground: Ground, members: Members) -> list[Option]:
        """Terms that somebody leaves out by name; and of those that an exact list is without, the ones that sources
        or the vocabulary put next to those in it."""
        by_name = {
            concept: tuple(record for record in records if concept in named_out(record))
            for concept, records in members.outside.items()
        }
        found = [
            self._term(concept, records, CONTRAST, "a source leaves it out for this case")
            for concept, records in sorted(by_name.items())
            if records and members.unnamed(concept) and self._fits(concept, ground)
        ]
        for concept, (tier, claims) in sorted(self._candidates(ground).items()):
            if not by_name.get(concept) and members.excluded(concept):
                origin = f"an exact list is without it; {self._taken(ground, claims)}"
                found.append(self._term(concept, tuple(claims), tier, origin))
        return found

    def _outside_list(self, ground: Ground, members: Members) -> list[Option]:
        """Where the list is closed: terms that nobody names for this case."""
        if not ground.parameter.closed_list:
            return []
        alike = self._named_in_like_cases(ground)
        return [
            self._term(concept, tuple(claims), tier, self._taken(ground, claims))
            for concept, (tier, claims) in sorted(self._candidates(ground).items())
            if members.unnamed(concept) and concept not in alike and concept not in members.outside
        ]

    def _candidates(self, ground: Ground) -> dict[str, tuple[int, list[Claim]]]:
        """Terms that might be taken for an answer, each with its best tier and the claims that it comes from."""
        found: dict[str, tuple[int, list[Claim]]] = {}
        for tier, concept, claim in self._terms_elsewhere(ground):
            if self._fits(concept, ground):
                before, claims = found.get(concept, (tier, []))
                found[concept] = (min(before, tier), [*claims, claim] if claim else claims)
        return found

    def _named_in_like_cases(self, ground: Ground) -> set[str]:
        """Terms named for cases that differ from this one in nothing on which the answer depends: right here too,
        perhaps, though no source says so."""
        axes = ground.parameter.depends_on
        here = tuple(pair for pair in ground.when if pair[0] in axes)
        found: set[str] = set()
        for claim in self.grounds.claims.get(ground.parameter.id, ()) if axes else ():
            there = tuple(pair for pair in claim.when if pair[0] in axes)
            if meet(here, there, self.vocabulary) is not None:
                for term in named_in(claim):
                    found |= self.vocabulary.above[term] | self.vocabulary.below[term]
        return found

    def _terms_elsewhere(self, ground: Ground) -> Iterator[tuple[int, str, Claim | None]]:
        """Terms of the same scheme, the most telling first: what a voice that is heard here names in another case and
        not in this one; what others name in other cases; what like questions take in this case; neighbours in the
        tree. Terms of another scheme might mean the same in other words, so they are never taken."""
        concepts, ours = self.vocabulary.concepts, ground.parameter
        voice = self.grounds.comparison.voices.voice
        here = {voice(claim.source) for claim in ground.heard}
        named: set[str] = set()
        for parameter in self.vocabulary.parameters.values():
            if parameter.scheme != ours.scheme:
                continue
            for claim in self.grounds.claims.get(parameter.id, ()):
                terms = sorted(named_in(claim))
                if parameter.id == ours.id:
                    named.update(terms)
                    yield from ((CONTRAST if voice(claim.source) in here else ELSEWHERE, term, claim) for term in terms)
                elif meet(ground.when, claim.when, self.vocabulary) is not None:
                    yield from ((OTHERWISE, term, claim) for term in terms)
        sides = self._sides(ground.when)
        for concept in self.vocabulary.in_scheme(ours.scheme or ""):
            near = any(concepts[term].broader == concept.broader for term in named)
            if near or concept.id in sides or (sides and self._verdict(concept.id)):
                yield NEIGHBOUR, concept.id, None

    def statements(self, ground: Ground, key: Comparable) -> Iterator[Item]:
        """What holds, put as a sentence, among errors that people make about it."""
        parameter = ground.parameter
        if key == YesNo(True) and parameter.affirms:
            right = Option(parameter.affirms, key, ground.deciding)
            yield from self._built(ground, "statement", right, self._errors(ground))


def _concept(option: Option) -> str:
    assert isinstance(option.value, Choice)
    return option.value.concept
