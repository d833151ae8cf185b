"""Items about quantities and counts: which value holds, which value fits, which does not."""

import re
from collections.abc import Iterator
from fractions import Fraction

from trayconcord.generators.ground import Ground
from trayconcord.generators.item_making import Workshop
from trayconcord.generators.items import Item, Option, pick, place_of
from trayconcord.kb.model import Claim, Ruling, comparable
from trayconcord.kb.values import Comparable, Interval
from trayconcord.kb.vocabulary import Parameter

LENGTH = "MilliM"
SLIP = 3
"""The tier of a quantity that nobody states: a slip of the kind that people make."""
COMMON_WORDS = {"tray", "impression", "in", "use", "the", "by", "of"}
"""Words that parameters share without being alike."""


class Quantities(Workshop):
    """Makes the items about quantities."""

    def quantities(self, ground: Ground) -> Iterator[Item]:
        """The value that all share, or one that fits it; a value that nobody allows; the case in which it holds."""
        key = self._key(ground)
        if not isinstance(key, Interval) or not ground.supported(key):
            return
        behind = ground.deciding
        item = None
        if key.low is not None and key.high is not None:
            item = self._value_item(ground, key, behind)
            if item:
                yield item
        if not item and key.low != key.high:
            point = next(Interval(end, end) for end in (key.low, key.high) if end is not None)
            yield from self._built(ground, "within", self._option(ground, point, behind), self._wrong(ground, point))
        yield from self._outside(ground)
        yield from self._cases(ground, key, behind)

    def _value_item(self, ground: Ground, key: Interval, behind: tuple[Claim | Ruling, ...]) -> Item | None:
        found = self._built(ground, "value", self._option(ground, key, behind), self._wrong(ground, key))
        return next(iter(found), None)

    def _outside(self, ground: Ground) -> Iterator[Item]:
        """Which value no source allows: the key contradicts everybody, and somebody states each of the others."""
        stated: dict[Interval, list[Claim | Ruling]] = {}
        for record in ground.deciding:
            assert record.value is not None
            value = comparable(record.value, ground.parameter, self.vocabulary)
            assert isinstance(value, Interval)
            for end in {value.low, value.high} - {None}:
                stated.setdefault(Interval(end, end), []).append(record)
        allowed = [
            Option(self._text(ground.parameter, point), point, tuple(records), -len(records), "allowed for this case")
            for point, records in sorted(stated.items(), key=lambda pair: pair[0].low or 0)
        ]
        if len(allowed) > 1:
            above = pick(self.seed, ground.topic.id, "side") % 2 == 0  # else the key would mostly be the least
            wrong = {
                option.text: (place_of(option.value) > place_of(allowed[-1].value), option)
                for end in (allowed[0], allowed[-1])
                for option in self._wrong(ground, _interval(end.value))
            }
            for _, option in sorted(wrong.values(), key=lambda pair: (pair[0] != above, pair[1].tier, pair[1].text)):
                built = self._built(ground, "outside", option, allowed)
                if built:
                    yield from built
                    return

    def _wrong(self, ground: Ground, shape: Interval) -> list[Option]:
        """Quantities of a shape that contradict everybody, taken from other cases and like questions."""
        point = shape.low == shape.high
        found: dict[Interval, tuple[int, list[Claim]]] = {}
        for stated, tier, claim in self._stated(ground):
            if point:
                values = [Interval(end, end) for end in dict.fromkeys((stated.low, stated.high)) if end is not None]
            elif None in (stated.low, stated.high) or stated.low == stated.high:
                values = []
            else:
                values = [stated]
            for each in values:
                before, claims = found.get(each, (tier, []))
                found[each] = (min(before, tier), [*claims, claim])
        for slip in self._slips(ground, shape):
            found.setdefault(slip, (SLIP, []))
        candidates = sorted(found, key=lambda interval: (interval.low or 0, interval.high or 0))
        options = []
        for value in (candidates[n] for n in ground.contradicting(list(candidates))):
            tier, claims = found[value]
            text = self._text(ground.parameter, value)
            if not value.low and not _plausible(value, ground.parameter):
                continue
            if _unit(text) == _unit(self._text(ground.parameter, shape)):
                options.append(
                    Option(text, value, tuple(claims), 3 * tier + _distance(shape, value), self._taken(ground, claims))
                )
        return options

    def _slips(self, ground: Ground, shape: Interval) -> Iterator[Interval]:
        """Half and twice a quantity: one sheet taken for two, a radius for a diameter."""
        for factor in (Fraction(1, 2), Fraction(2)):
            ends = [end * factor for end in (shape.low, shape.high) if end is not None]
            slip = Interval(ends[0], ends[-1])
            whole = ground.parameter.kind != "count" or all(end.denominator == 1 for end in ends)
            if whole and ends[0] > 0 and _plausible(slip, ground.parameter):
                yield slip

    def _stated(self, ground: Ground) -> Iterator[tuple[Interval, int, Claim]]:
        """What is stated for the same question, then for questions that go by a common word (another time, another
        density), then other lengths of a tray that are plausible here."""
        ours = ground.parameter
        for parameter in self.vocabulary.parameters.values():
            alike = akin(parameter.id, ours.id)
            if (parameter.unit, parameter.kind) != (ours.unit, ours.kind) or not (alike or ours.unit == LENGTH):
                continue
            for claim in self.grounds.claims.get(parameter.id, ()):
                assert claim.value is not None
                value = comparable(claim.value, parameter, self.vocabulary)
                assert isinstance(value, Interval)
                if parameter.id == ours.id:
                    yield value, 0, claim
                elif alike or _plausible(value, ours):
                    yield value, 1 if alike else 2, claim


def akin(one: str, other: str) -> bool:
    """Whether two parameters go by a common word, such as two densities or two purposes."""
    words = [{word.removesuffix("s") for word in name.split("-")} - COMMON_WORDS for name in (one, other)]
    return bool(words[0] & words[1])


def _plausible(value: Interval, parameter: Parameter) -> bool:
    """Whether a quantity lies within what the vocabulary holds plausible for a parameter."""
    if parameter.plausible is None:
        return False
    least, most = parameter.plausible
    return all(end is None or least <= end <= most for end in (value.low, value.high))


def _interval(value: Comparable) -> Interval:
    assert isinstance(value, Interval)
    return value


def _unit(text: str) -> str:
    """What stands after the number of a quantity: two quantities in different units would give the key away."""
    return re.sub(r"^[\d.,–\- ]+(to [\d.,\-]+)?", "", text).strip()


def _distance(one: Interval, other: Interval) -> int:
    """How far apart two quantities lie, in steps of their ratio; the nearest make the best distractors."""
    first, second = (value.low if value.low is not None else value.high for value in (one, other))
    assert first is not None and second is not None
    small, large = sorted((first, second))
    if small <= 0:
        return 4
    return sum(large > small * step for step in (Fraction(3, 2), 2, 3, 5, 10))
