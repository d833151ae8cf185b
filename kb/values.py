"""Values: what a claim states, as recorded in the source's unit and as compared in the parameter's unit.

All arithmetic is rational and exact. A *recorded* value keeps the source's own unit; a *comparable*
value is the same thing in the parameter's unit, where ``none`` has become the quantity it stands for.
"""

from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class Quantity:
    """A recorded quantity or count: a closed range in one unit. ``None`` is an open end, ``about`` a hedge."""

    low: Fraction | None
    high: Fraction | None
    unit: str
    about: bool = False


@dataclass(frozen=True, slots=True)
class Nothing:
    """The recorded answer "none": a quantity of the parameter's none-means, or a set without members."""


@dataclass(frozen=True, slots=True)
class Interval:
    """A comparable quantity: all points from ``low`` to ``high`` in the parameter's unit; ``None`` is unbounded."""

    low: Fraction | None
    high: Fraction | None


@dataclass(frozen=True, slots=True)
class Choice:
    """One concept."""

    concept: str


@dataclass(frozen=True, slots=True)
class Membership:
    """A set: members in, members out; ``exact`` puts everything not named out."""

    includes: frozenset[str]
    excludes: frozenset[str] = frozenset()
    exact: bool = False


@dataclass(frozen=True, slots=True)
class YesNo:
    """Yes or no."""

    yes: bool


@dataclass(frozen=True, slots=True)
class Steps:
    """Steps in the order in which they are done; steps not named may stand anywhere."""

    steps: tuple[str, ...]


Recorded = Quantity | Nothing | Choice | Membership | YesNo | Steps
Comparable = Interval | Choice | Membership | YesNo | Steps


def decimal_text(number: Fraction, places: int = 6) -> str:
    """A number in decimals: exact where its expansion ends within 30 places, else rounded to ``places``.

    >>> decimal_text(Fraction(1, 8)), decimal_text(Fraction(2, 3)), decimal_text(Fraction(20))
    ('0.125', '0.666667', '20')
    """
    exact = terminating(number)
    if exact is None:
        scaled = round(number * 10**places)
        exact = terminating(Fraction(scaled, 10**places))
        assert exact is not None
    return exact


def terminating(number: Fraction) -> str | None:
    """The exact decimal expansion of a number, or None where it does not end.

    >>> terminating(Fraction(-5, 4)), terminating(Fraction(1, 3))
    ('-1.25', None)
    """
    rest, twos, fives = number.denominator, 0, 0
    while rest % 2 == 0:
        rest //= 2
        twos += 1
    while rest % 5 == 0:
        rest //= 5
        fives += 1
    places = max(twos, fives)
    if rest != 1 or places > 30:
        return None
    digits = str(abs(number.numerator) * 10**places // number.denominator).rjust(places + 1, "0")
    sign = "-" if number < 0 else ""
    return sign + (f"{digits[:-places]}.{digits[-places:]}" if places else digits)
