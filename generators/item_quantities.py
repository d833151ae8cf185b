"""Items about quantities and counts: which value holds, which value fits, which does not."""

import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from fractions import Fraction

from trayconcord.generators.ground import Ground
from trayconcord.generators.item_making import Workshop
from trayconcord.generators.items import Item, Option, pick, place_of, too_near
from trayconcord.kb.model import Claim, Ruling, comparable
from trayconcord.kb.values import Comparable, Interval
from trayconcord.kb.vocabulary import Parameter

LENGTH = "MilliM"
SLIP, FAR = 2, 4
"""The tiers of quantities that nobody states: a slip of the kind that people make, and what is further off."""
SLIPS = {Fraction(1, 2): SLIP, Fraction(2): SLIP}
SLIPS |= dict.fromkeys((Fraction(1, 4), Fraction(2, 3), Fraction(3, 4), Fraction(3, 2), Fraction(3), Fraction(4)), FAR)
"""One sheet taken for two, a radius for a diameter; and what is further off."""
SHARES = ("PERCENT", "UNITLESS")
MOST_DECIMALS = 2
COMMON_WORDS = {"tray", "impression", "in", "use", "the", "by", "of"}
"""Words that parameters share without being alike."""


class Quantities(Workshop):
    """Makes the items about quantities; all their options are written alike, with one unit and as many decimals."""

    def quantities(self, ground: Ground) -> Iterator[Item]:
        """The value that all share, or one that fits it; a value that nobody allows; the case in which it holds."""
        key = self._key(ground)
        if ground.parameter.as_measured or not isinstance(key, Interval) or not ground.supported(key):
            return
        behind, point = ground.saying(key), roundest(key)
        if not self._enough(ground, behind):
            return
        if point is not None:
            value = Interval(point, point)
            kind = "value" if key.low == key.high else "within"
            right = Option(self._text(ground.parameter, value), value, behind)
            yield from self._asking(ground, kind, right, self._wrong(ground, value))
        yield from self._outside(ground)
        if key.low is not None and key.high is not None:
            yield from self._cases(ground, key, behind)

    def _asking(self, ground: Ground, kind: str, right: Option, wrong: list[Option]) -> Iterable[Item]:
        """An item whose options have the decimals of the key; one more, where too few of them are left so."""
        for decimals in (_decimals(right.text), _decimals(right.text) + 1):
            fit = [option for option in wrong if _decimals(option.text) <= decimals]
            alike = _alike([right, *fit])
            if alike and (built := self._built(ground, kind, alike[0], alike[1:])):
                return built
        return []

    def _outside(self, ground: Ground) -> Iterator[Item]:
        """Which value no source allows: the key contradicts everybody, and somebody states each of the others.

        Only where the parameter has its own words for such a question."""
        if not ground.parameter.stem_not:
            return
        stated: dict[Interval, list[Claim | Ruling]] = {}
        for record in ground.deciding:
            assert record.value is not None
            value = comparable(record.value, ground.parameter, self.vocabulary)
            assert isinstance(value, Interval)
            for end in {value.low, value.high} if None not in (value.low, value.high) else ():
                stated.setdefault(Interval(end, end), []).append(record)
        allowed = [
            Option(self._text(ground.parameter, point), point, tuple(records), -len(records), "allowed for this case")
            for point, records in sorted(stated.items(), key=lambda pair: pair[0].low or 0)
        ]
        if len(allowed) < 2:
            return
        above = pick(self.seed, ground.topic.id, "side") % 2 == 0  # else the key would mostly be the least
        wrong = {
            option.text: (place_of(option.value) > place_of(allowed[-1].value), option)
            for end in (allowed[0], allowed[-1])
            for option in self._wrong(ground, _interval(end.value))
        }
        for _, option in sorted(
            wrong.values(), key=lambda pair: (pair[0] != above, _decimals(pair[1].text), pair[1].tier, pair[1].text)
        ):
            alike = _alike([replace(option, records=()), *allowed])  # who states it elsewhere is no reason here
            if alike and (built := self._built(ground, "outside", alike[0], alike[1:])):
                yield from built
                return

    def _wrong(self, ground: Ground, point: Interval) -> list[Option]:
        """Quantities that contradict everybody and lie well away from what anybody supports: taken from other cases
        and like questions, or a slip."""
        found: dict[Interval, tuple[int, list[Claim]]] = {}
        for stated, tier, claim in self._stated(ground):
            for end in dict.fromkeys((stated.low, stated.high)):
                if end is not None:
                    each = Interval(end, end)
                    before, claims = found.get(each, (tier, []))
                    found[each] = (min(before, tier), [*claims, claim])
        spoken = [_interval(value) for value in ground.spoken]
        for value, tier in self._slips(ground, point, spoken):
            found.setdefault(value, (tier, []))
        candidates = sorted(found, key=lambda interval: interval.low or 0)
        options = []
        for value in (candidates[n] for n in ground.contradicting(list(candidates))):
            if any(too_near(value, said) for said in spoken) or not (value.low or _plausible(value, ground.parameter)):
                continue
            tier, claims = found[value]
            text = self._text(ground.parameter, value)
            rank = 3 * tier + _distance(point, value)
            options.append(Option(text, value, tuple(claims), rank, self._taken(ground, claims)))
        return options

    def _slips(self, ground: Ground, point: Interval, spoken: list[Interval]) -> Iterator[tuple[Interval, int]]:
        """A value, or an end of what is supported, taken several times or in part."""
        ends = dict.fromkeys(end for value in (point, *spoken) for end in (value.low, value.high) if end)
        for end in ends:
            for factor, tier in SLIPS.items():
                slip = end * factor
                whole = ground.parameter.kind != "count" or slip.denominator == 1
                if whole and slip > 0 and _imaginable(slip, ground.parameter):
                    yield Interval(slip, slip), tier if end == point.low else FAR

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
                elif _plausible(value, ours):
                    yield value, 1 if alike else 2, claim


def roundest(value: Interval) -> Fraction | None:
    """The number of a range that is written shortest, the nearest to its middle among those; None where it needs more
    than two decimals. Of an open range it is the stated end."""
    low, high = place_of(value)
    for decimals in range(MOST_DECIMALS + 1):
        step = Fraction(1, 10**decimals)
        near = round((low + high) / 2 / step) * step
        inside = [number for number in (near, near - step, near + step) if low <= number <= high]
        if inside:
            return min(inside, key=lambda number: (abs(number - (low + high) / 2), number))
    return None


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


def _imaginable(number: Fraction, parameter: Parameter) -> bool:
    """Whether somebody might take a number for an answer: up to twice what is plausible, unless it is a share."""
    if parameter.plausible is None:
        return False
    least, most = parameter.plausible
    if parameter.kind == "interval" and parameter.unit in SHARES:
        return least <= number <= most
    return least / 2 <= number <= most * 2


def _interval(value: Comparable) -> Interval:
    assert isinstance(value, Interval)
    return value


NUMBER = re.compile(r"(?<!\d)(?!1 in )\d+(?:\.(\d+))?")


def _parts(text: str) -> tuple[str, str, str, str]:
    """What stands before the number of a quantity, the whole number, its decimals, and what stands after."""
    found = NUMBER.search(text)
    if found is None:
        return text, "", "", ""
    whole, _, decimals = found[0].partition(".")
    return text[: found.start()], whole, decimals, text[found.end() :]


def _decimals(text: str) -> int:
    return len(_parts(text)[2])


def _alike(options: list[Option]) -> list[Option]:
    """The options that share the unit of the first, all written with as many decimals; none, where the first has no
    number or too many decimals."""
    before, whole, decimals, after = _parts(options[0].text)
    if not whole or len(decimals) > MOST_DECIMALS:
        return []
    parts = [(option, *_parts(option.text)) for option in options]
    kept = [
        (option, number, digits)
        for option, first, number, digits, last in parts
        if number and (first, last) == (before, after) and len(digits) <= MOST_DECIMALS
    ]
    most = max(len(digits) for _, _, digits in kept)
    point = "." if most else ""
    return [
        replace(option, text=f"{before}{number}{point}{digits.ljust(most, '0')}{after}")
        for option, number, digits in kept
    ]


def _distance(one: Interval, other: Interval) -> int:
    """How far apart two quantities lie, in steps of their ratio; the nearest make the best distractors."""
    first, second = (value.low if value.low is not None else value.high for value in (one, other))
    assert first is not None and second is not None
    small, large = sorted((first, second))
    if small <= 0:
        return 4
    return sum(large > small * step for step in (Fraction(3, 2), 2, 3, 5, 10))
