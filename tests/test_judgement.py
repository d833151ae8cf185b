"""The verdict on one measurement.

The rule is that of guard bands on either side of a limit (JCGM 106:2012, recalled, not read): the numbers of the table
are worked by hand from the lines at the head of the module.
"""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trayconcord.kb.marking import MarkingItem
from trayconcord.kb.store import load
from trayconcord.kb.values import Choice, Comparable, Interval, Membership, Steps, YesNo
from trayconcord.shapes.judgement import BORDERLINE, OUTSIDE, WITHIN, Judgement, judge, widened
from trayconcord.shapes.positions import ValueTable

VOCABULARY = load(only=True).vocabulary


def number(text: str) -> Interval:
    return Interval(Fraction(text), Fraction(text))


def verdict(found: Comparable, allowed: Comparable, uncertainty: str = "0", unsure: bool = False) -> Judgement:
    return judge(found, Fraction(uncertainty), unsure, allowed, VOCABULARY)


@pytest.mark.parametrize(
    ("found", "uncertainty", "expected", "off"),
    [
        ("2", "0", WITHIN, "0"),
        ("1.5", "0", WITHIN, "0"),  # a number on the limit is within
        ("2.5", "0", WITHIN, "0"),
        ("2.6", "0", OUTSIDE, "0.1"),
        ("1.4", "0", OUTSIDE, "-0.1"),
        ("2", "0.5", WITHIN, "0"),  # [1.5, 2.5] lies inside, ends and all
        ("2", "0.6", BORDERLINE, "0"),  # reaches across both
        ("2.3", "0.3", BORDERLINE, "0"),
        ("2.2", "0.3", WITHIN, "0"),
        ("2.8", "0.3", BORDERLINE, "0.3"),  # [2.5, 3.1] touches the limit
        ("2.9", "0.3", OUTSIDE, "0.4"),
        ("1.2", "0.3", BORDERLINE, "-0.3"),
        ("1.1", "0.3", OUTSIDE, "-0.4"),
    ],
)
def test_a_number_between_two_limits(found: str, uncertainty: str, expected: str, off: str) -> None:
    told = verdict(number(found), Interval(Fraction("1.5"), Fraction("2.5")), uncertainty)
    assert (told.verdict, told.off) == (expected, Fraction(off))


@pytest.mark.parametrize(
    ("found", "uncertainty", "expected"),
    [("1", "0", WITHIN), ("24", "5", WITHIN), ("1.2", "0.3", BORDERLINE), ("0.5", "0.3", OUTSIDE)],
)
def test_a_limit_on_one_side_only(found: str, uncertainty: str, expected: str) -> None:
    assert verdict(number(found), Interval(Fraction(1), None), uncertainty).verdict == expected
    mirrored = Interval(None, Fraction(-1))
    assert verdict(number(str(-Fraction(found))), mirrored, uncertainty).verdict == expected


def test_a_range_is_widened_at_both_ends_by_a_quantity_or_a_part_of_each_limit() -> None:
    def item(**parts: Fraction) -> MarkingItem:
        return MarkingItem("x", "wall-thickness", **parts)  # type: ignore[arg-type]

    value = Interval(Fraction(2), Fraction(3))
    assert widened(value, None) == value
    assert widened(value, item(tolerance=Fraction(1, 2))) == Interval(Fraction(3, 2), Fraction(7, 2))
    assert widened(value, item(tolerance_share=Fraction(1, 10))) == Interval(Fraction(9, 5), Fraction(33, 10))
    assert widened(Interval(Fraction(-2), None), item(tolerance_share=Fraction(1, 2))) == Interval(Fraction(-3), None)
    assert widened(YesNo(True), item(tolerance=Fraction(1))) == YesNo(True)


def test_a_choice_is_within_what_covers_it() -> None:
    allowed = Choice("molar-region")
    assert verdict(Choice("molar-region"), allowed).verdict == WITHIN
    assert verdict(Choice("first-molar-region"), allowed).verdict == WITHIN
    assert verdict(Choice("canine-region"), allowed).verdict == OUTSIDE
    assert verdict(Choice("tooth-site"), allowed).verdict == BORDERLINE, "too general to tell"


def exactly(*members: str) -> Membership:
    return Membership(frozenset(members), frozenset(), True)


def test_a_set_names_what_is_missing_and_what_is_too_many() -> None:
    allowed = exactly("canine-region", "molar-region")
    assert verdict(exactly("canine-region", "first-molar-region"), allowed).verdict == WITHIN
    told = verdict(exactly("canine-region", "rugae"), allowed)
    assert (told.verdict, told.missing, told.extra) == (OUTSIDE, ("molar-region",), ("rugae",))
    assert verdict(exactly(), allowed).missing == ("canine-region", "molar-region")
    assert verdict(exactly("tooth-site"), allowed).verdict == BORDERLINE, "too general to tell"


def test_a_set_that_is_left_open_forbids_only_what_it_leaves_out() -> None:
    allowed = Membership(frozenset({"hard-palate"}), frozenset({"rugae"}), False)
    assert verdict(exactly("hard-palate", "maxillary-tuberosity"), allowed).verdict == WITHIN
    told = verdict(exactly("hard-palate", "rugae"), allowed)
    assert (told.verdict, told.extra) == (OUTSIDE, ("rugae",))


def test_steps_are_outside_when_two_stand_the_other_way_round() -> None:
    allowed = Steps(("draw-outline", "adapt-spacer", "cut-stops"))
    assert verdict(Steps(("draw-outline", "cut-stops")), allowed).verdict == WITHIN
    told = verdict(Steps(("cut-stops", "draw-outline")), allowed)
    assert (told.verdict, told.turned) == (OUTSIDE, (("draw-outline", "cut-stops"),))


def test_yes_and_no() -> None:
    assert verdict(YesNo(True), YesNo(True)).verdict == WITHIN
    assert verdict(YesNo(False), YesNo(True)).verdict == OUTSIDE


@pytest.mark.parametrize(
    ("found", "allowed"),
    [(YesNo(True), YesNo(True)), (YesNo(True), YesNo(False)), (number("3"), number("4")),
     (Choice("canine-region"), Choice("molar-region")), (exactly("rugae"), exactly("canine-region"))],
)  # fmt: skip
def test_what_the_observer_is_unsure_of_is_borderline(found: Comparable, allowed: Comparable) -> None:
    assert verdict(found, allowed, unsure=True).verdict == BORDERLINE


# --- in general ------------------------------------------------------------------------------------------------------

numbers = st.fractions(min_value=-10, max_value=10, max_denominator=20)
widths = st.fractions(min_value=0, max_value=5, max_denominator=20)
ends = st.none() | numbers
intervals = st.tuples(ends, ends).filter(
    lambda pair: pair != (None, None) and (None in pair or pair[0] <= pair[1])
).map(lambda pair: Interval(*pair))  # fmt: skip


@given(numbers, widths, intervals)
def test_the_verdict_is_that_of_the_plain_sentence(found: Fraction, uncertainty: Fraction, allowed: Interval) -> None:
    """All of [m - u, m + u] allowed, or none of it, or neither: tried at its ends and at the limits that lie in it."""
    least, most = found - uncertainty, found + uncertainty

    def is_allowed(point: Fraction) -> bool:
        return (allowed.low is None or point >= allowed.low) and (allowed.high is None or point <= allowed.high)

    limits = [end for end in (allowed.low, allowed.high) if end is not None and least <= end <= most]
    tried = [is_allowed(point) for point in (least, most, found, *limits)]
    expected = WITHIN if is_allowed(least) and is_allowed(most) else BORDERLINE if any(tried) else OUTSIDE
    assert judge(Interval(found, found), uncertainty, False, allowed, VOCABULARY).verdict == expected


@given(numbers, widths, widths, intervals)
def test_more_uncertainty_never_decides_what_less_left_open(
    found: Fraction, one: Fraction, more: Fraction, allowed: Interval
) -> None:
    before = judge(Interval(found, found), one, False, allowed, VOCABULARY).verdict
    after = judge(Interval(found, found), one + more, False, allowed, VOCABULARY).verdict
    assert after in (before, BORDERLINE)


@given(numbers, widths, intervals, widths, widths)
def test_more_tolerance_never_makes_a_verdict_worse(
    found: Fraction, uncertainty: Fraction, value: Interval, less: Fraction, more: Fraction
) -> None:
    rank = (OUTSIDE, BORDERLINE, WITHIN)
    verdicts = []
    for tolerance in (less, less + more):
        allowed = widened(value, MarkingItem("x", "wall-thickness", tolerance=tolerance))
        verdicts.append(judge(Interval(found, found), uncertainty, False, allowed, VOCABULARY).verdict)
    assert rank.index(verdicts[0]) <= rank.index(verdicts[1])


REGIONS = [concept.id for concept in VOCABULARY.in_scheme("region")]
STEPS = [concept.id for concept in VOCABULARY.in_scheme("step")]
pairs = st.one_of(
    st.tuples(numbers.map(lambda n: Interval(n, n)), intervals, st.just("wall-thickness")),
    st.tuples(*[st.sampled_from(REGIONS).map(Choice)] * 2, st.just("tray-fit")),
    st.tuples(*[st.booleans().map(YesNo)] * 2, st.just("frenum-relief")),
    st.tuples(*[st.permutations(STEPS[:5]).map(lambda s: Steps(tuple(s[:3])))] * 2, st.just("procedure")),
)


@given(pairs)
def test_with_no_uncertainty_and_no_tolerance_outside_is_what_the_comparison_calls_incompatible(
    pair: tuple[Comparable, Comparable, str],
) -> None:
    found, allowed, name = pair
    parameter = VOCABULARY.parameters[name]
    assert parameter.tolerance == 0
    contested = ValueTable([found, allowed], parameter, VOCABULARY).contested(0b11)
    assert (verdict(found, allowed).verdict == OUTSIDE) == contested
