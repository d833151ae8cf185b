"""Exact numbers, and the units and gauges of the store held against the outside world."""

import contextlib
import math
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pint import UnitRegistry
from rdflib import Literal, namespace

from trayconcord.kb.grammar import ValueProblem, parse_quantity
from trayconcord.kb.literals import LONGEST, number_literal, number_of
from trayconcord.kb.model import comparable
from trayconcord.kb.namespaces import QUDT
from trayconcord.kb.values import Choice, Interval, Membership, Nothing, Quantity, decimal_text, terminating

terminating_numbers = st.builds(
    lambda digits, places: Fraction(digits, 10**places), st.integers(-(10**12), 10**12), st.integers(0, 12)
)


# --- numbers as text -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("number", "text"),
    [
        (Fraction(0), "0"),
        (Fraction(20), "20"),
        (Fraction(-20), "-20"),
        (Fraction(1, 8), "0.125"),
        (Fraction(-1, 8), "-0.125"),
        (Fraction(3, 16), "0.1875"),
        (Fraction(1, 1000), "0.001"),
        (Fraction(100, 5), "20"),
        (Fraction(1, 2**30), "0.000000000931322574615478515625"),
    ],
)
def test_a_number_that_ends_is_written_in_full(number, text):
    assert terminating(number) == text
    assert decimal_text(number) == text


@pytest.mark.parametrize(
    ("number", "places", "text"),
    [
        (Fraction(2, 3), 6, "0.666667"),
        (Fraction(2, 3), 4, "0.6667"),
        (Fraction(1, 3), 2, "0.33"),
        (Fraction(-7, 3), 4, "-2.3333"),
        (Fraction(1, 3), 0, "0"),
        # 31 places are more than the store writes as a decimal.
        (Fraction(1, 2**31), 6, "0"),
    ],
)
def test_a_number_that_does_not_end_is_rounded_for_readers_only(number, places, text):
    assert terminating(number) is None
    assert decimal_text(number, places) == text


@given(terminating_numbers)
def test_decimal_text_of_a_number_that_ends_is_that_number(number):
    assert Fraction(decimal_text(number)) == number


@given(terminating_numbers)
def test_decimal_text_has_no_needless_digits(number):
    text = decimal_text(number)
    assert not (("." in text) and text.endswith("0")) and not text.endswith(".")
    assert text.lstrip("-") == "0" or not text.lstrip("-").startswith("00")


@given(st.fractions(), st.integers(0, 8))
def test_decimal_text_is_never_further_off_than_half_its_last_place(number, places):
    assert abs(Fraction(decimal_text(number, places)) - number) <= Fraction(1, 2 * 10**places)


# --- numbers as literals ---------------------------------------------------------------------------------------------


@given(st.fractions())
def test_a_number_survives_the_store_exactly(number):
    literal = number_literal(number)
    assert number_of(literal) == number
    assert literal.datatype == (namespace.OWL.rational if terminating(number) is None else namespace.XSD.decimal)


def test_literals_are_decimals_or_rationals_and_never_doubles():
    assert number_literal(Fraction(1, 2)) == Literal("0.5", datatype=namespace.XSD.decimal)
    assert number_literal(Fraction(2)) == Literal("2.0", datatype=namespace.XSD.decimal)
    assert number_literal(Fraction(-2, 3)) == Literal("-2/3", datatype=namespace.OWL.rational)


@pytest.mark.parametrize(("text", "number"), [("5", 5), ("+5", 5), (".5", Fraction(1, 2)), ("-0.25", Fraction(-1, 4))])
def test_other_spellings_of_a_decimal_are_read(text, number):
    assert number_of(Literal(text, datatype=namespace.XSD.decimal)) == number


@pytest.mark.parametrize(
    "text",
    # An exponent could ask for a number of a billion digits: it must be refused at once, not computed.
    [
        "",
        "two",
        "NaN",
        "INF",
        "-INF",
        "1/0",
        "1/-3",
        "0x10",
        "5e-01",
        "1e999999999",
        "-1E999999999",
        "9" * (LONGEST + 1),
    ],
)
def test_what_is_no_exact_number_is_a_value_error(text):
    with pytest.raises(ValueError):
        number_of(Literal(text))


@given(st.text(max_size=30))
def test_no_text_makes_number_of_raise_anything_but_value_error(text):
    with contextlib.suppress(ValueError):
        assert isinstance(number_of(Literal(text)), Fraction)


# --- units -----------------------------------------------------------------------------------------------------------

PINT = {
    "mm": ("millimeter", "meter"),
    "cm": ("centimeter", "meter"),
    "um": ("micrometer", "meter"),
    "[in_i]": ("inch", "meter"),
    "s": ("second", "second"),
    "min": ("minute", "second"),
    "h": ("hour", "second"),
    "d": ("day", "second"),
    "wk": ("week", "second"),
    "deg": ("degree", "radian"),
    "MPa": ("megapascal", "pascal"),
    "%": ("percent", "dimensionless"),
    "[ppm]": ("ppm", "dimensionless"),
    "1": ("dimensionless", "dimensionless"),
    "cm2": ("centimeter ** 2", "meter ** 2"),
    "mm2": ("millimeter ** 2", "meter ** 2"),
    "g.cm-3": ("gram / centimeter ** 3", "kilogram / meter ** 3"),
    "mg.m-3": ("milligram / meter ** 3", "kilogram / meter ** 3"),
}
"""Pint's names for each UCUM code that the store uses and for the coherent SI unit of the same kind."""


@pytest.fixture(scope="module")
def registry():
    """Pint computing in exact fractions."""
    return UnitRegistry(non_int_type=Fraction)


@pytest.fixture(scope="module")
def ucum(shipped_store):
    """The units of the store that carry a UCUM code, by the code."""
    codes = {str(subject): str(code) for subject, code in shipped_store.graph.subject_objects(QUDT.ucumCode)}
    return {codes[unit.iri]: unit for unit in shipped_store.vocabulary.units.values() if unit.iri in codes}


def test_every_unit_of_qudt_carries_its_ucum_code(vocabulary, ucum):
    borrowed = {unit.id for unit in vocabulary.units.values() if unit.iri.startswith("http://qudt.org/vocab/unit/")}
    assert {unit.id for unit in ucum.values()} == borrowed
    assert set(ucum) == set(PINT)


@pytest.mark.parametrize("code", sorted(PINT))
def test_conversion_multipliers_are_those_of_pint(registry, ucum, code):
    name, coherent = PINT[code]
    multiplier = registry.Quantity(Fraction(1), name).to(coherent).magnitude
    assert isinstance(multiplier, Fraction | int)
    if code == "deg":  # pi has no exact value: QUDT prints 15 digits of it
        assert math.isclose(ucum[code].multiplier, multiplier, rel_tol=1e-14)
    else:
        assert ucum[code].multiplier == multiplier


@pytest.mark.parametrize(
    ("unit", "multiplier"),
    # Multipliers to SI as QUDT 3.5.0 prints them.
    [
        ("MilliM", "0.001"),
        ("DEG", "0.0174532925199433"),
        ("MIN", "60"),
        ("HR", "3600"),
        ("SEC", "1"),
        ("MegaPA", "1000000"),
        ("PERCENT", "0.01"),
        ("PPM", "0.000001"),
        ("MicroM", "0.000001"),
        ("IN", "0.0254"),
    ],
)
def test_conversion_multipliers_are_those_of_qudt(vocabulary, unit, multiplier):
    assert vocabulary.units[unit].multiplier == Fraction(multiplier)
    assert vocabulary.units[unit].iri == f"http://qudt.org/vocab/unit/{unit}"


def compared(text, parameter, vocabulary):
    """The comparable interval of a quantity as printed."""
    known = vocabulary.parameters[parameter]
    return comparable(parse_quantity(text, known, vocabulary), known, vocabulary)


@pytest.mark.parametrize(
    ("text", "parameter", "low", "high"),
    # Worked by hand.
    [
        ("1/8 in", "spacer-thickness", "3.175", "3.175"),
        ("3/16 in", "spacer-thickness", "4.7625", "4.7625"),
        ("1/8-3/16 in", "border-clearance", "3.175", "4.7625"),
        ("1 1/2 in", "handle-length", "38.1", "38.1"),
        ("0.3 cm", "wall-thickness", "3", "3"),
        ("500 µm", "relief-thickness", "0.5", "0.5"),
        ("20 s", "light-curing-time", "1/3", "1/3"),
        ("90 s", "light-curing-time", "1.5", "1.5"),
        ("36 h", "usable-for", "1.5", "1.5"),
        ("2 wk", "usable-for", "14", "14"),
        ("1 d", "wait-before-use", "24", "24"),
        ("30 min", "wait-before-use", "0.5", "0.5"),
        ("at least 24 h", "usable-for", "1", None),
        ("at most 1/16 in", "relief-thickness", None, "1.5875"),
        ("none", "spacer-thickness", "0", "0"),
        ("50 %", "retromolar-pad-coverage", "0.5", "0.5"),
        ("-1/8 in", "posterior-extension", "-3.175", "-3.175"),
        # The store's nominal sheet of baseplate wax, 1.3 mm, unless the source names its own.
        ("1 sheet", "spacer-thickness", "1.3", "1.3"),
        ("2 sheets", "spacer-thickness", "2.6", "2.6"),
        ("1-2 layers", "spacer-thickness", "1.3", "2.6"),
        ("2 sheets of 1.5 mm", "spacer-thickness", "3", "3"),
    ],
)
def test_conversions_worked_by_hand(vocabulary, text, parameter, low, high):
    assert compared(text, parameter, vocabulary) == Interval(
        None if low is None else Fraction(low), None if high is None else Fraction(high)
    )


@given(
    number=st.fractions(min_value=-(10**6), max_value=10**6, max_denominator=10**6),
    pair=st.sampled_from([("IN", "MilliM"), ("SEC", "DAY"), ("WK", "MIN"), ("MicroM", "CentiM"), ("wax-sheet", "IN")]),
)
def test_conversion_there_and_back_loses_nothing(vocabulary, number, pair):
    here, there = (vocabulary.units[name] for name in pair)
    assert number * (here.multiplier / there.multiplier) * (there.multiplier / here.multiplier) == number


def test_a_value_of_another_kind_or_dimension_is_refused(vocabulary):
    thickness, relief = vocabulary.parameters["spacer-thickness"], vocabulary.parameters["relief-areas"]
    for value, parameter, rule in [
        (Choice("rugae"), thickness, "malformed-value"),
        (Quantity(Fraction(1), Fraction(1), "MilliM"), relief, "malformed-value"),
        (Quantity(Fraction(1), Fraction(1), "SEC"), thickness, "wrong-dimension"),
        (Quantity(Fraction(1), Fraction(1), "furlong"), thickness, "unknown-term"),
        (Quantity(Fraction(100), Fraction(100), "PERCENT"), vocabulary.parameters["stop-count"], "wrong-dimension"),
        (Quantity(Fraction(2), Fraction(1), "MilliM"), thickness, "inverted-range"),
        (Nothing(), vocabulary.parameters["wall-thickness"], "malformed-value"),
    ]:
        with pytest.raises(ValueProblem) as problem:
            comparable(value, parameter, vocabulary)
        assert problem.value.rule == rule


def test_none_is_the_empty_set_for_a_set(vocabulary):
    assert comparable(Nothing(), vocabulary.parameters["relief-areas"], vocabulary) == Membership(
        frozenset(), frozenset(), True
    )


# --- methyl methacrylate in air --------------------------------------------------------------------------------------
# Molar mass 100.12 g/mol; molar volume of a gas at 101.325 kPa 24.45 L/mol at 25 C and 24.055 L/mol at 20 C.


def test_the_two_mass_limits_are_one_limit_at_two_temperatures(vocabulary):
    """205 mg/m3 (ACGIH TLV) and 208 mg/m3 (EH40) both restate 50 ppm, each at its own reference temperature."""
    tolerance = vocabulary.parameters["exposure-limit"].tolerance
    assert tolerance == Fraction(1, 2)
    for text, ppm in [("205 mg/m3 at 25 C", "50.062"), ("208 mg/m3 at 20 C", "49.974")]:
        end = compared(text, "exposure-limit", vocabulary).low
        assert decimal_text(round(end, 3)) == ppm
        assert abs(end - 50) < tolerance


def test_mass_limits_that_differ_are_not_explained_by_temperature(vocabulary):
    """160 and 210 mg/m3 at 20 C are 38.4 and 50.5 ppm: further apart than the tolerance."""
    low, high = (compared(f"{n} mg/m3 at 20 C", "exposure-limit", vocabulary).low for n in (160, 210))
    assert (decimal_text(round(low, 1)), decimal_text(round(high, 1))) == ("38.4", "50.5")
    assert high - low > vocabulary.parameters["exposure-limit"].tolerance


@pytest.mark.parametrize(("unit", "molar_volume"), [("mg-per-m3-at-25-c", "24.45"), ("mg-per-m3-at-20-c", "24.055")])
def test_mass_per_volume_follows_from_molar_mass_and_volume(vocabulary, unit, molar_volume):
    factor = vocabulary.units[unit].multiplier / vocabulary.units["PPM"].multiplier
    assert factor == Fraction(molar_volume) / Fraction("100.12")


def test_ratios_by_mass_agree_with_the_source_that_gives_both(vocabulary):
    """One source gives 3-3.5:1 by volume as 2.5:1 by mass: the conversion must land within its own range."""
    by_mass = compared("2.5:1 by mass", "polymer-monomer-ratio", vocabulary)
    by_volume = compared("3-3.5:1 by volume", "polymer-monomer-ratio", vocabulary)
    assert by_volume.low <= by_mass.low <= by_volume.high


# --- gauges ----------------------------------------------------------------------------------------------------------

INCHES = {
    18: "0.0403", 19: "0.03589", 20: "0.03196", 21: "0.02846", 22: "0.02535", 23: "0.02257", 24: "0.0201",
    25: "0.0179", 26: "0.01594", 27: "0.01419", 28: "0.01264", 29: "0.01126", 30: "0.01003", 31: "0.008928",
    32: "0.00795", 36: "0.005",
}  # fmt: skip
"""AWG (Brown and Sharpe) diameters in inches: CRC Handbook of Chemistry and Physics, 53rd edition, as relayed by a
mailing list in 1996."""

SWG = {
    18: "1.22", 19: "1.02", 20: "0.914", 21: "0.812", 22: "0.711", 23: "0.609", 24: "0.558", 25: "0.508", 26: "0.457",
    27: "0.416", 28: "0.375", 29: "0.345", 30: "0.314", 31: "0.294", 32: "0.274", 36: "0.193",
}  # fmt: skip
"""Imperial standard wire gauge in millimetres, from the same table, as printed."""


def test_awg_follows_the_formula_of_astm_b258(vocabulary):
    """ASTM B258: 0.127 mm times 92 to the power (36 - n)/39."""
    sizes = vocabulary.gauges["gauge-awg"].thickness
    assert set(range(10, 41)) <= set(sizes)
    for number, thickness in sizes.items():
        # The store rounds to 0.1 micrometre.
        assert abs(float(thickness) - 0.127 * 92 ** ((36 - number) / 39)) <= 0.00005 + 1e-12


@pytest.mark.parametrize("number", sorted(INCHES))
def test_awg_agrees_with_the_handbook_within_a_thousandth(vocabulary, number):
    printed = Fraction(INCHES[number]) * Fraction("25.4")
    assert abs(vocabulary.gauges["gauge-awg"].thickness[number] / printed - 1) <= Fraction(1, 1000)


def test_swg_is_the_printed_table(vocabulary):
    assert vocabulary.gauges["gauge-swg"].thickness == {n: Fraction(text) for n, text in SWG.items()}


def test_a_gauge_number_means_two_thicknesses(vocabulary):
    american = compared("28 gauge AWG", "wax-sheet-thickness", vocabulary)
    imperial = compared("28 gauge SWG", "wax-sheet-thickness", vocabulary)
    assert round(american.low, 2) == Fraction("0.32")
    assert imperial.low == Fraction("0.375")
    # They stay apart at the tolerance within which two thicknesses of wax still agree.
    assert imperial.low - american.low > vocabulary.parameters["wax-sheet-thickness"].tolerance


@pytest.mark.parametrize("system", ["gauge-awg", "gauge-swg"])
def test_a_higher_gauge_is_thinner(vocabulary, system):
    sizes = vocabulary.gauges[system].thickness
    in_order = [sizes[number] for number in sorted(sizes)]
    assert all(thicker > thinner for thicker, thinner in pairwise(in_order))
