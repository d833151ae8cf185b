"""Judging one measurement against what is allowed.

The *allowed* values of an item are the governing value (the course's ruling, else what two independent voices or more
share), a range widened at both ends by the tolerance of the course's policy. A number m with uncertainty u is

- *within* when the whole of [m - u, m + u] is allowed,
- *outside* when none of it is,
- *borderline* otherwise: the measurement cannot tell.

Both intervals are closed: a number on the limit is within, one that only touches it with its uncertainty is borderline.
This is the decision rule with guard bands of conformity assessment, the uncertainty being the guard band on either side
of a limit (JCGM 106:2012, "The role of measurement uncertainty in conformity assessment"; recalled, not read).
"""

from dataclasses import dataclass
from fractions import Fraction

from trayconcord.kb.marking import MarkingItem
from trayconcord.kb.values import Choice, Comparable, Interval, Membership, Steps
from trayconcord.kb.vocabulary import Vocabulary
from trayconcord.shapes.orders import both_ways

WITHIN, BORDERLINE, OUTSIDE, NOT_MEASURED, NOT_MARKED = "within", "borderline", "outside", "not measured", "not marked"
VERDICTS = (WITHIN, BORDERLINE, OUTSIDE, NOT_MEASURED, NOT_MARKED)


@dataclass(frozen=True, slots=True)
class Judgement:
    """A verdict and what it rests on: how far a number lies beyond the nearest limit (negative: below the lower one),
    the members of a set that are ``missing`` or too many (``extra``), and the pairs of steps that are ``turned``."""

    verdict: str
    off: Fraction = Fraction(0)
    missing: tuple[str, ...] = ()
    extra: tuple[str, ...] = ()
    turned: tuple[tuple[str, str], ...] = ()


def judge(
    found: Comparable, uncertainty: Fraction, unsure: bool, allowed: Comparable, vocabulary: Vocabulary
) -> Judgement:
    """The verdict on what was found, by the lines at the head of this module; both values are of one parameter.

    A concept is within when the allowed one covers it, a set when each allowed member is met by one that it covers and
    no further one is there, steps when no two stand the other way round. Of those the observer may be ``unsure``: they
    are then borderline. So is an observation too general to tell, as "molar region" for the first molar region.
    """
    if isinstance(found, Interval) and isinstance(allowed, Interval):
        told = _number(found, uncertainty, allowed)
    elif isinstance(found, Choice) and isinstance(allowed, Choice):
        wider = vocabulary.covers(found.concept, allowed.concept)
        within = vocabulary.covers(allowed.concept, found.concept)
        told = Judgement(WITHIN if within else BORDERLINE if wider else OUTSIDE)
    elif isinstance(found, Membership) and isinstance(allowed, Membership):
        told = _members(found, allowed, vocabulary)
    elif isinstance(found, Steps) and isinstance(allowed, Steps):
        turned = tuple(both_ways([found.steps, allowed.steps], vocabulary))
        told = Judgement(OUTSIDE if turned else WITHIN, turned=turned)
    else:
        told = Judgement(WITHIN if found == allowed else OUTSIDE)
    return Judgement(BORDERLINE, told.off, told.missing, told.extra, told.turned) if unsure else told


def _number(found: Interval, uncertainty: Fraction, allowed: Interval) -> Judgement:
    number, low, high = found.low, allowed.low, allowed.high
    assert number is not None
    least, most = number - uncertainty, number + uncertainty
    below = low is not None and number < low
    off = number - low if low is not None and below else number - high if high is not None and number > high else None
    if (low is None or low <= least) and (high is None or most <= high):
        return Judgement(WITHIN)
    if (low is not None and most < low) or (high is not None and least > high):
        return Judgement(OUTSIDE, off or Fraction(0))
    return Judgement(BORDERLINE, off or Fraction(0))


def _members(found: Membership, allowed: Membership, vocabulary: Vocabulary) -> Judgement:
    """A set that was found, as a whole, against one that is allowed."""
    covers_it, order = vocabulary.covers, vocabulary.concepts
    named = allowed.includes | allowed.excludes
    missing, extra, vague = set[str](), set[str](), False
    for wanted in allowed.includes:
        if not any(covers_it(wanted, member) for member in found.includes):
            if any(covers_it(member, wanted) for member in found.includes):
                vague = True
            else:
                missing.add(wanted)
    for member in found.includes:
        over = vocabulary.above[member] & named
        nearest = max(over, key=lambda name: len(vocabulary.above[name]), default=None)
        unnamed = nearest is None and allowed.exact and not vocabulary.below[member] & allowed.includes
        if unnamed or nearest in allowed.excludes:
            extra.add(member)
    verdict = OUTSIDE if missing or extra else BORDERLINE if vague else WITHIN

    def ordered(members: set[str]) -> tuple[str, ...]:
        return tuple(sorted(members, key=lambda member: (order[member].order, member)))

    return Judgement(verdict, missing=ordered(missing), extra=ordered(extra))


def widened(value: Comparable, item: MarkingItem | None) -> Comparable:
    """A governing value with the tolerance of the policy at either end; what is no range stays as it is."""
    if not isinstance(value, Interval) or item is None:
        return value

    def allowance(end: Fraction) -> Fraction:
        return (item.tolerance or 0) + (item.tolerance_share or 0) * abs(end)

    low, high = value.low, value.high
    return Interval(None if low is None else low - allowance(low), None if high is None else high + allowance(high))
