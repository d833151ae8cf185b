"""Question items with a single best answer: the record, how options are chosen and ordered, and how hard it is.

Nothing here is random: where one of several options, or a place for the key, has to be picked, a hash of the seed and
of the item's id picks it. An item keeps its id as long as it asks for the same thing.
"""

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from hashlib import sha256

from trayconcord.kb.model import Claim, Ruling, Scope
from trayconcord.kb.values import Choice, Comparable, Interval
from trayconcord.kb.vocabulary import Parameter

LETTERS = "ABCDEF"
MOST_OPTIONS, LEAST_OPTIONS = 4, 3
POOL = 6
"""From how many of the best distractors the seed picks."""

NEAR = Fraction(1, 4)
"""How far, as a share of what is supported, a wrong quantity has to lie from it at least."""

LEVELS = ("easier", "middle", "harder")


@dataclass(frozen=True, slots=True)
class Option:
    """One answer to choose from. ``records`` state it: of the key, for the case that is asked; of a distractor, for
    another case or another question. ``tier`` ranks distractors, the most plausible first; ``origin`` says why one
    is wrong; ``error`` is the wrong answer of the vocabulary that a distractor is."""

    text: str
    value: Comparable
    records: tuple[Claim | Ruling, ...] = ()
    tier: int = 0
    origin: str = ""
    error: str = ""


@dataclass(frozen=True, slots=True)
class Item:
    """A question with options of which exactly one, ``options[key]``, is right.

    ``basis`` is "agreement" or "ruling"; ``asked`` what the stem quotes, for an item that asks for the case in which
    an answer holds; ``axis`` the axis that such an item asks about. ``level`` is an estimate, not a measurement.
    """

    id: str
    kind: str
    parameter: Parameter
    when: Scope
    topic: str
    basis: str
    case: str
    stem: str
    options: tuple[Option, ...]
    key: int
    level: str
    voices: int
    axis: str = ""
    asked: Comparable | None = None

    @property
    def letter(self) -> str:
        """The letter of the key."""
        return LETTERS[self.key]

    @property
    def answer(self) -> Option:
        """The key."""
        return self.options[self.key]

    @property
    def lettered(self) -> list[tuple[str, Option, bool]]:
        """Letter, option, and whether it is the key."""
        return [(LETTERS[n], option, n == self.key) for n, option in enumerate(self.options)]

    @property
    def question(self) -> str:
        """The case and the stem in one line."""
        return f"Case: {self.case}. {self.stem}" if self.case else self.stem


def pick(seed: int, *words: str) -> int:
    """A number that looks random and depends on the seed and the words alone."""
    return int.from_bytes(sha256("\x1f".join((str(seed), *words)).encode()).digest()[:8])


def balanced(key: Option, other: Option) -> bool:
    """Whether neither text is so much longer than the other that its length, or that of a number, tells the key."""
    short, long = sorted((len(key.text), len(other.text)))
    return long <= (short + 3 if isinstance(key.value, Interval) else 2 * short + 11)


def choose(
    identifier: str,
    key: Option,
    distractors: list[Option],
    seed: int,
    clash: Callable[[Option, Option], bool],
    ascending: bool = False,
) -> tuple[tuple[Option, ...], int] | None:
    """The options in their order, and the place of the key; None where too few distractors are left.

    Quantities that stand in ``ascending`` order have distractors chosen so that the key takes each rank about equally
    often; all else stands in an order of the seed's. No two options ``clash``, that is, say the same or overlap.
    """
    pool: list[Option] = []
    for option in sorted(distractors, key=lambda o: (o.tier, pick(seed, identifier, o.text))):
        if balanced(key, option) and not any(
            option.text == other.text or clash(option, other) for other in (key, *pool)
        ):
            pool.append(option)
    if len(pool) < LEAST_OPTIONS - 1:
        return None
    if ascending:
        chosen = [key, *_around(identifier, key, pool, seed)]
        chosen.sort(key=lambda option: place_of(option.value))
    else:
        pool = sorted(pool[:POOL], key=lambda o: pick(seed, identifier, "take", o.text))
        chosen = [key, *pool[: MOST_OPTIONS - 1]]
        chosen.sort(key=lambda option: pick(seed, identifier, "order", option.text))
    return tuple(chosen), chosen.index(key)


def _around(identifier: str, key: Option, pool: list[Option], seed: int) -> list[Option]:
    """Distractors below and above a quantity, as many on each side as the key's rank asks for."""
    size = min(MOST_OPTIONS - 1, len(pool))
    below = [option for option in pool if place_of(option.value) < place_of(key.value)]
    above = [option for option in pool if place_of(option.value) > place_of(key.value)]
    rank = pick(seed, identifier, "rank") % (size + 1)
    rank = max(size - len(above), min(rank, len(below)))
    return below[:rank] + above[: size - rank]


def place_of(value: Comparable) -> tuple[Fraction, Fraction]:
    """Where a quantity stands among others: its lower end, then its upper; an open end counts as the other one."""
    assert isinstance(value, Interval)
    low = value.low if value.low is not None else value.high
    high = value.high if value.high is not None else value.low
    assert low is not None and high is not None
    return low, high


def too_near(one: Interval, other: Interval) -> bool:
    """Whether the ends of two quantities lie so near that telling them apart is no knowledge: within a quarter."""
    ends = [end for end in (one.low, one.high) if end is not None]
    return any(abs(mine - end) < NEAR * abs(end) for mine in ends for end in (other.low, other.high) if end is not None)


def level_of(kind: str, when: Scope, key: Option, options: tuple[Option, ...], voices: int) -> str:
    """How hard an item probably is: an estimate from its make, not measured on students.

    One point for two conditions or more; one for a question put the other way round (what is left out, what lies
    outside, to which case an answer belongs, which step is last or between); one where a distractor is close (a
    quantity within half as much again of the key, or a term that a voice heard here takes in another case); one less
    where five voices or more support the key. No point or fewer is easier, one is middle, more is harder.
    """
    points = (len(when) >= 2) + (kind in ("left-out", "unnamed", "outside", "case", "last", "between")) - (voices >= 5)
    points += any(_close(key, option) for option in options if option is not key)
    return LEVELS[max(0, min(points, 2))]


def _close(key: Option, option: Option) -> bool:
    if isinstance(key.value, Interval):
        (one, _), (other, _) = sorted((place_of(key.value), place_of(option.value)))
        return one > 0 and other <= one * Fraction(3, 2)
    return option.tier == 0


def same_or_overlapping(above: dict[str, frozenset[str]]) -> Callable[[Option, Option], bool]:
    """A test whether two terms are the same, one covers the other, or one holds the words of the other."""

    def clash(one: Option, other: Option) -> bool:
        if f" {one.text} " in f" {other.text} " or f" {other.text} " in f" {one.text} ":
            return True
        if not (isinstance(one.value, Choice) and isinstance(other.value, Choice)):
            return False
        first, second = one.value.concept, other.value.concept
        return first in above.get(second, ()) or second in above.get(first, ())

    return clash
