"""Items about terms: one of several, a member of a set, what is left out, a statement of yes or no."""

from collections.abc import Iterator

from trayconcord.generators.ground import Ground, Members
from trayconcord.generators.item_making import Workshop, named_in, named_out
from trayconcord.generators.items import Item, Option, pick
from trayconcord.kb.model import Claim, Scope
from trayconcord.kb.values import Choice, Comparable, YesNo
from trayconcord.shapes.scopes import meet
from trayconcord.shapes.wording import scope_text

COMPARED = "compared-with"
CONTRAST, ELSEWHERE, OTHERWISE, NEIGHBOUR = range(4)
"""Where a term that serves as a distractor comes from, the most telling first."""


class Terms(Workshop):
    """Makes the items about terms."""

    def choices(self, ground: Ground) -> Iterator[Item]:
        """The key is the widest term that a voice takes: what a narrower one says implies it."""
        terms = [value.concept for value in ground.binding if isinstance(value, Choice)]
        key = Choice(min(terms, key=lambda term: (len(self.vocabulary.above[term]), term)))
        if not ground.supported(key):
            return
        candidates: dict[str, tuple[int, list[Claim]]] = {}
        for tier, concept, claim in self._terms_elsewhere(ground):
            if self._answers(concept, ground):
                before, claims = candidates.get(concept, (tier, []))
                candidates[concept] = (min(before, tier), [*claims, claim] if claim else claims)
        concepts = sorted(candidates)
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
        yield from self._built(ground, "choice", self._term(key.concept, behind), distractors)
        yield from self._cases(ground, key, behind)

    def _answers(self, concept: str, ground: Ground) -> bool:
        """Whether a term answers the question at all: a comparison is won by one of the two compared, or by none."""
        sides = self._sides(ground.when)
        return not sides or concept in sides or self.vocabulary.concepts[concept].schemes == (ground.parameter.scheme,)

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
        ruled = bool(ground.topic.rulings)
        candidates: dict[str, tuple[int, list[Claim]]] = {}
        alike = self._named_in_like_cases(ground)
        for tier, concept, claim in self._terms_elsewhere(ground):
            if members.unnamed(concept) and concept not in alike:
                before, claims = candidates.get(concept, (tier, []))
                candidates[concept] = (min(before, tier), [*claims, claim] if claim else claims)
        left_out = {
            concept: tuple(records)
            for concept, records in members.outside.items()
            if members.unnamed(concept) and any(concept in named_out(record) for record in records)
        }
        wrong = [
            self._term(concept, left_out[concept], CONTRAST, "a source leaves it out for this case")
            for concept in sorted(left_out)
        ]
        wrong += [
            self._term(concept, tuple(claims), tier, self._taken(ground, claims))
            for concept, (tier, claims) in sorted(candidates.items())
            if concept not in left_out
        ]
        for concept, records in sorted(members.inside.items()):
            named = [r for r in records if concept in named_in(r) and r in ground.deciding]
            if not any(r.when == ground.when for r in named):
                continue
            if (ruled and not self._decided(named)) or not members.undisputed(concept):
                continue
            key = self._term(concept, tuple(named))
            yield from self._built(ground, "belongs", key, wrong, concept)
            yield from self._cases(ground, Choice(concept), tuple(named))
        yield from self._left_out(ground, members, wrong)

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

    def _left_out(self, ground: Ground, members: Members, wrong: list[Option]) -> Iterator[Item]:
        """Which term is left out: by name, or because nobody names it here while a voice that is heard here names it
        for another case. Somebody names each of the others and nobody leaves it out."""
        inside = []
        for concept, records in sorted(members.inside.items()):
            named = tuple(r for r in records if concept in named_in(r) and r in ground.deciding)
            if named and members.undisputed(concept):
                inside.append(self._term(concept, named, -self._voices(named), "named for this case"))
        for concept, records in sorted(members.outside.items()):
            named = tuple(r for r in records if concept in named_out(r) and r in ground.deciding)
            if members.unnamed(concept) and named:
                yield from self._built(ground, "left-out", self._term(concept, named), inside, concept)
        for option in sorted(wrong, key=lambda o: (o.tier, pick(self.seed, ground.topic.id, o.text))):
            if option.tier == CONTRAST and option.value.concept not in members.outside:  # type: ignore[union-attr]
                yield from self._built(ground, "unnamed", option, inside, option.value.concept)  # type: ignore[union-attr]

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
            if near or concept.id in sides or (sides and concept.schemes == (ours.scheme,)):
                yield NEIGHBOUR, concept.id, None

    def statements(self, ground: Ground, key: Comparable) -> Iterator[Item]:
        """Which of several statements holds: the others answer a question of yes or no against all who speak of it."""
        distractors = []
        for topic in self.grounds.comparison.answered:
            there = self.grounds.of(topic)
            if topic.parameter.kind != "yes-no" or topic.parameter == ground.parameter or not there.stated_here:
                continue
            for value in (YesNo(True), YesNo(False)):
                if there.spoken and there.contradicting([value]):
                    distractors.append(self._statement(there, value, "everybody who speaks of it says the opposite"))
        alike = [option for option in distractors if option.value == key]  # or the one "yes" would stand out
        others = sorted(
            (o for o in distractors if o.value != key), key=lambda o: pick(self.seed, ground.topic.id, o.text)
        )
        if alike:
            yield from self._built(ground, "statement", self._statement(ground, key), alike + others[:2])

    def _statement(self, ground: Ground, value: Comparable, origin: str = "") -> Option:
        case = scope_text(ground.when, self.vocabulary)
        answer = self._text(ground.parameter, value).capitalize()
        text = f"{ground.parameter.question} {answer}{f' ({case})' if case else ''}"
        near = CONTRAST if origin and ground.topic.standing == "agreed" else ELSEWHERE
        return Option(text, value, ground.deciding, near, origin, ground.topic.id)
