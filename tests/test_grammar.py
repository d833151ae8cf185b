"""The grammar of values: every form it accepts, every form it refuses and what it then says, and its round trips."""

import contextlib
from fractions import Fraction

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from trayconcord.kb.grammar import ValueProblem, parse_quantity, quantity_text, range_text, value_text
from trayconcord.kb.model import comparable
from trayconcord.kb.values import Choice, Membership, Nothing, Quantity, Steps, YesNo

THICKNESS, EXTENSION, RATIO, COUNT = "spacer-thickness", "posterior-extension", "polymer-monomer-ratio", "stop-count"
PAD, AIR, LIGHT = "retromolar-pad-coverage", "exposure-limit", "light-curing-time"

ACCEPTED = [
    # one number
    (THICKNESS, "2 mm", "2", "2", "MilliM", False),
    (THICKNESS, "2mm", "2", "2", "MilliM", False),
    (THICKNESS, "  2   mm ", "2", "2", "MilliM", False),
    (THICKNESS, "0.5 mm", "0.5", "0.5", "MilliM", False),
    (THICKNESS, "0 mm", "0", "0", "MilliM", False),
    (THICKNESS, "2\u00a0mm", "2", "2", "MilliM", False),
    # units by symbol and by name
    (THICKNESS, "2 MM", "2", "2", "MilliM", False),
    (THICKNESS, "2 millimetres", "2", "2", "MilliM", False),
    (THICKNESS, "2 millimeters", "2", "2", "MilliM", False),
    (THICKNESS, "0.2 cm", "0.2", "0.2", "CentiM", False),
    (THICKNESS, "500 µm", "500", "500", "MicroM", False),
    (THICKNESS, "500 μm", "500", "500", "MicroM", False),  # the Greek letter instead of the micro sign
    (THICKNESS, "500 microns", "500", "500", "MicroM", False),
    (LIGHT, "20 s", "20", "20", "SEC", False),
    (LIGHT, "20 seconds", "20", "20", "SEC", False),
    (LIGHT, "1-2 minutes", "1", "2", "MIN", False),
    ("usable-for", "3 d", "3", "3", "DAY", False),
    ("usable-for", "24 hrs", "24", "24", "HR", False),
    ("usable-for", "1 week", "1", "1", "WK", False),
    ("handle-inclination", "30 deg", "30", "30", "DEG", False),
    ("handle-inclination", "30°", "30", "30", "DEG", False),
    ("flexural-strength", "80 MPa", "80", "80", "MegaPA", False),
    ("flexural-strength", "80 N/mm2", "80", "80", "MegaPA", False),
    ("polymerisation-shrinkage-linear", "0.2 %", "0.2", "0.2", "PERCENT", False),
    # fractions
    (THICKNESS, "1/8 in", "1/8", "1/8", "IN", False),
    (THICKNESS, '1/8"', "1/8", "1/8", "IN", False),
    (THICKNESS, "1/8 inch", "1/8", "1/8", "IN", False),
    (THICKNESS, "1 1/2 in", "3/2", "3/2", "IN", False),
    (THICKNESS, "⅛ in", "1/8", "1/8", "IN", False),
    (THICKNESS, "1½ mm", "3/2", "3/2", "MilliM", False),
    (THICKNESS, "1 ½ mm", "3/2", "3/2", "MilliM", False),
    (THICKNESS, "½–1½ mm", "1/2", "3/2", "MilliM", False),
    (PAD, "2/3", "2/3", "2/3", "UNITLESS", False),
    (PAD, "⅔", "2/3", "2/3", "UNITLESS", False),
    (PAD, "1/2 to 2/3", "1/2", "2/3", "UNITLESS", False),
    (PAD, "50 %", "50", "50", "PERCENT", False),
    # ranges, with every dash that print uses
    (THICKNESS, "0.5-1.5 mm", "0.5", "1.5", "MilliM", False),
    (THICKNESS, "0.5–1.5 mm", "0.5", "1.5", "MilliM", False),
    (THICKNESS, "0.5—1.5 mm", "0.5", "1.5", "MilliM", False),
    (THICKNESS, "0.5−1.5 mm", "0.5", "1.5", "MilliM", False),
    (THICKNESS, "0.5 - 1.5 mm", "0.5", "1.5", "MilliM", False),
    (THICKNESS, "0.5 to 1.5 mm", "0.5", "1.5", "MilliM", False),
    (THICKNESS, "0.5 mm to 1.5 mm", "0.5", "1.5", "MilliM", False),
    (THICKNESS, "0.5 mm-1.5 mm", "0.5", "1.5", "MilliM", False),
    (THICKNESS, "1/8-3/16 in", "1/8", "3/16", "IN", False),
    (THICKNESS, "1/8 in to 3/16 in", "1/8", "3/16", "IN", False),
    (THICKNESS, "1 to 1 1/2 in", "1", "3/2", "IN", False),
    (THICKNESS, "2-2 mm", "2", "2", "MilliM", False),
    # bounds
    (THICKNESS, ">= 2 mm", "2", None, "MilliM", False),
    (THICKNESS, ">=2 mm", "2", None, "MilliM", False),
    (THICKNESS, "≥ 2 mm", "2", None, "MilliM", False),
    (THICKNESS, "at least 2 mm", "2", None, "MilliM", False),
    (THICKNESS, "At least 2 mm", "2", None, "MilliM", False),
    (THICKNESS, "not less than 2 mm", "2", None, "MilliM", False),
    (THICKNESS, "minimum 2 mm", "2", None, "MilliM", False),
    (THICKNESS, "<= 3 mm", None, "3", "MilliM", False),
    (THICKNESS, "≤ 3 mm", None, "3", "MilliM", False),
    (THICKNESS, "at most 3 mm", None, "3", "MilliM", False),
    (THICKNESS, "not more than 3 mm", None, "3", "MilliM", False),
    (THICKNESS, "up to 3 mm", None, "3", "MilliM", False),
    # hedges
    (THICKNESS, "about 2 mm", "2", "2", "MilliM", True),
    (THICKNESS, "approximately 2 mm", "2", "2", "MilliM", True),
    (THICKNESS, "approx. 2 mm", "2", "2", "MilliM", True),
    (THICKNESS, "ca. 2 mm", "2", "2", "MilliM", True),
    (THICKNESS, "~2 mm", "2", "2", "MilliM", True),
    (THICKNESS, "≈ 2 mm", "2", "2", "MilliM", True),
    (THICKNESS, "about 2-3 mm", "2", "3", "MilliM", True),
    (THICKNESS, "about at least 2 mm", "2", None, "MilliM", True),
    # counts
    (COUNT, "3", "3", "3", "UNITLESS", False),
    (COUNT, "3-4", "3", "4", "UNITLESS", False),
    (COUNT, "3 to 4", "3", "4", "UNITLESS", False),
    (COUNT, ">= 3", "3", None, "UNITLESS", False),
    (COUNT, "about 4", "4", "4", "UNITLESS", True),
    (COUNT, "4/2", "2", "2", "UNITLESS", False),
    # sheets of wax
    (THICKNESS, "1 sheet", "1", "1", "wax-sheet", False),
    (THICKNESS, "2 sheets", "2", "2", "wax-sheet", False),
    (THICKNESS, "1-2 layers", "1", "2", "wax-sheet", False),
    (THICKNESS, "2 thicknesses of wax", "2", "2", "wax-sheet", False),
    (THICKNESS, "2 sheets of 1.5 mm", "3", "3", "MilliM", False),
    (THICKNESS, "2 layers of 1/16 in", "1/8", "1/8", "IN", False),
    # gauges, as millimetres
    (THICKNESS, "26 gauge AWG", "0.4049", "0.4049", "MilliM", False),
    (THICKNESS, "26 ga. AWG", "0.4049", "0.4049", "MilliM", False),
    (THICKNESS, "26 Gauge awg", "0.4049", "0.4049", "MilliM", False),
    (THICKNESS, "26 gauge B&S", "0.4049", "0.4049", "MilliM", False),
    (THICKNESS, "26 gauge American wire gauge", "0.4049", "0.4049", "MilliM", False),
    (THICKNESS, "28 gauge SWG", "0.375", "0.375", "MilliM", False),
    (THICKNESS, "about 28 gauge SWG", "0.375", "0.375", "MilliM", True),
    # a higher gauge is thinner: the ends change places
    (THICKNESS, "26-28 gauge AWG", "0.3211", "0.4049", "MilliM", False),
    (THICKNESS, "26–28 gauge AWG", "0.3211", "0.4049", "MilliM", False),
    (THICKNESS, "26−28 gauge AWG", "0.3211", "0.4049", "MilliM", False),
    (THICKNESS, "28 to 26 gauge AWG", "0.3211", "0.4049", "MilliM", False),
    # ratios
    (RATIO, "3:1 by volume", "3", "3", "ratio-by-volume", False),
    (RATIO, "2.5:1 by mass", "2.5", "2.5", "ratio-by-mass", False),
    (RATIO, "2:1 by weight", "2", "2", "ratio-by-mass", False),
    (RATIO, "3:2 by volume", "3/2", "3/2", "ratio-by-volume", False),
    (RATIO, "3 : 1 by volume", "3", "3", "ratio-by-volume", False),
    (RATIO, "3-3.5:1 by volume", "3", "3.5", "ratio-by-volume", False),
    (RATIO, "3 to 3.5:1 by volume", "3", "3.5", "ratio-by-volume", False),
    (RATIO, "about 3:1 by volume", "3", "3", "ratio-by-volume", True),
    (RATIO, "at least 3:1 by volume", "3", None, "ratio-by-volume", False),
    # air
    (AIR, "50 ppm", "50", "50", "PPM", False),
    (AIR, "205 mg/m3 at 25 C", "205", "205", "mg-per-m3-at-25-c", False),
    (AIR, "208 mg/m³ at 20 °C", "208", "208", "mg-per-m3-at-20-c", False),
    (AIR, "205-210 mg/m3 at 20 C", "205", "210", "mg-per-m3-at-20-c", False),
    # below zero: posterior extension counts what lies anterior to its landmark as negative
    (EXTENSION, "-2 mm", "-2", "-2", "MilliM", False),
    (EXTENSION, "−2 mm", "-2", "-2", "MilliM", False),
    (EXTENSION, "-½ mm", "-1/2", "-1/2", "MilliM", False),
    (EXTENSION, "-1 1/2 mm", "-3/2", "-3/2", "MilliM", False),
    (EXTENSION, "-2 to 3 mm", "-2", "3", "MilliM", False),
    (EXTENSION, "-2-3 mm", "-2", "3", "MilliM", False),
    (EXTENSION, "−2–3 mm", "-2", "3", "MilliM", False),
    (EXTENSION, "-3 to -2 mm", "-3", "-2", "MilliM", False),
    (EXTENSION, "-3 - -2 mm", "-3", "-2", "MilliM", False),
    (EXTENSION, "at least -2 mm", "-2", None, "MilliM", False),
]


def fraction(text):
    return None if text is None else Fraction(text)


@pytest.mark.parametrize(("parameter", "text", "low", "high", "unit", "about"), ACCEPTED)
def test_what_a_source_prints_is_read(vocabulary, parameter, text, low, high, unit, about):
    quantity = parse_quantity(text, vocabulary.parameters[parameter], vocabulary)
    assert quantity == Quantity(fraction(low), fraction(high), unit, about)


@pytest.mark.parametrize("text", ["none", "None", " NONE ", "nil"])
@pytest.mark.parametrize("parameter", [THICKNESS, COUNT, "relief-thickness", "wait-before-use"])
def test_none_is_read_where_the_parameter_says_what_it_means(vocabulary, text, parameter):
    assert parse_quantity(text, vocabulary.parameters[parameter], vocabulary) == Nothing()


REFUSED = [
    # a gauge needs its system, and a size that the table holds
    (THICKNESS, "26 gauge", "malformed-value", ["0.4049 mm in AWG", "0.457 mm in SWG"], ["26 gauge AWG"]),
    (THICKNESS, "26-28 gauge", "malformed-value", ["in AWG", "in SWG"], ["gauge system"]),
    (THICKNESS, "26 gauge XYZ", "malformed-value", ["in AWG", "in SWG"], ["gauge system"]),
    (THICKNESS, "99 gauge", "malformed-value", ["needs its gauge system"], ["gauge system"]),
    (THICKNESS, "99 gauge AWG", "malformed-value", ["99 gauge AWG", "not in the table"], ["in mm", "10 to 40"]),
    (THICKNESS, "33 gauge SWG", "malformed-value", ["33 gauge SWG", "not in the table"], ["in mm", "18 to 36"]),
    # units
    (THICKNESS, "2", "malformed-value", ['"2" has no unit'], ["2 mm"]),
    (THICKNESS, "1-2", "malformed-value", ['"1-2" has no unit'], ["1-2 mm"]),
    (THICKNESS, "2 furlongs", "malformed-value", ['"furlongs" is not a known unit'], ["mm", "in", "sheets"]),
    (THICKNESS, "2 mm thick", "malformed-value", ['"mm thick" is not a known unit'], ["mm"]),
    (THICKNESS, "2 s", "wrong-dimension", ["second", "does not measure spacer thickness"], ["mm"]),
    (THICKNESS, "2 %", "wrong-dimension", ["per cent", "does not measure"], ["mm"]),
    (LIGHT, "26 gauge AWG", "wrong-dimension", ["does not measure"], ["min"]),
    (THICKNESS, "2 sheets of 20 s", "wrong-dimension", ["second"], ["mm"]),
    (THICKNESS, "1 mm to 2 cm", "malformed-value", ["two units"], ["one unit"]),
    (AIR, "208 mg/m3", "malformed-value", ['"mg/m3" is not a known unit'], ["mg/m3 at 20 C", "mg/m3 at 25 C"]),
    ("polymerisation-shrinkage-linear", "0.2", "malformed-value", ["has no unit"], ["0.2 %"]),
    ("polymerisation-shrinkage-linear", "2 mm", "wrong-dimension", ["does not measure"], ["write %"]),
    (PAD, "2 mm", "wrong-dimension", ["does not measure retromolar pad coverage"], ["a plain number", "%"]),
    # numbers
    (THICKNESS, "0,5 mm", "malformed-value", ["comma"], ["0.5"]),
    (THICKNESS, "1,000 mm", "malformed-value", ["comma"], ["point"]),
    (THICKNESS, "3-1 mm", "inverted-range", ["runs from high to low"], ["lower end first"]),
    (THICKNESS, "2 to -1 mm", "inverted-range", ["runs from high to low"], ["lower end first"]),
    # in some print 2-1/2 means two and a half: better asked than guessed
    (THICKNESS, "2-1/2 mm", "inverted-range", ["runs from high to low"], ["lower end first"]),
    (RATIO, "3.5-3:1 by volume", "inverted-range", ["runs from high to low"], ["lower end first"]),
    (THICKNESS, "1/0 in", "malformed-value", ["divides by nothing"], ["1/8"]),
    (THICKNESS, "1 1/0 in", "malformed-value", ["divides by nothing"], ["1/8"]),
    (THICKNESS, "2 sheets of 1/0 mm", "malformed-value", ["divides by nothing"], ["1/8"]),
    (THICKNESS, "12345678901234567890 mm", "malformed-value", ["cannot be read"], ["2 mm"]),
    (THICKNESS, "1" * 81, "malformed-value", ["81 characters"], ["quantity alone"]),
    (THICKNESS, "1e3 mm", "malformed-value", ["not a known unit"], ["mm"]),
    (THICKNESS, "½4 mm", "malformed-value", ["not a known unit"], ["mm"]),
    (THICKNESS, "½½ mm", "malformed-value", ["not a known unit"], ["mm"]),
    (THICKNESS, "two mm", "malformed-value", ['"two mm" cannot be read as spacer thickness'], ["2 mm", "none"]),
    (THICKNESS, "", "malformed-value", ["cannot be read"], ["2 mm"]),
    (THICKNESS, "mm", "malformed-value", ["cannot be read"], ["2 mm"]),
    (THICKNESS, "2 mm or 3 mm", "malformed-value", ["not a known unit"], ["mm"]),
    # limits that leave themselves out
    (THICKNESS, "> 2 mm", "malformed-value", ["leaves its own limit out"], [">=", "at least"]),
    (THICKNESS, "<2 mm", "malformed-value", ["leaves its own limit out"], ["<=", "at most"]),
    (THICKNESS, "more than 2 mm", "malformed-value", ["leaves its own limit out"], ["at least"]),
    (THICKNESS, "less than 2 mm", "malformed-value", ["leaves its own limit out"], ["at most"]),
    (THICKNESS, "over 2 mm", "malformed-value", ["leaves its own limit out"], ["at least"]),
    (THICKNESS, "at least 2-3 mm", "malformed-value", ["bounds a range"], ["one number"]),
    (THICKNESS, "at most 26-28 gauge AWG", "malformed-value", ["bounds a range"], ["one number"]),
    (THICKNESS, "at least", "malformed-value", ["cannot be read"], ["2 mm"]),
    (THICKNESS, "about", "malformed-value", ["cannot be read"], ["2 mm"]),
    (THICKNESS, "about none", "malformed-value", ["cannot be read"], ["2 mm"]),
    # none needs a meaning
    ("wall-thickness", "none", "malformed-value", ["cannot be none"], ["state a quantity"]),
    (PAD, "none", "malformed-value", ["retromolar pad coverage cannot be none"], ["state a quantity"]),
    ("handle-count", "nil", "malformed-value", ["cannot be none"], ["state a quantity"]),
    # counts
    (COUNT, "2.5", "malformed-value", ["is a count", "2.5 is not whole"], ["whole number"]),
    (COUNT, "1/2", "malformed-value", ["is not whole"], ["whole number"]),
    (COUNT, "2-2.5", "malformed-value", ["is not whole"], ["whole number"]),
    (COUNT, "at least 2.5", "malformed-value", ["is not whole"], ["whole number"]),
    (COUNT, "2 mm", "wrong-dimension", ["does not measure number of stops"], ["whole number without a unit"]),
    (COUNT, "2 %", "wrong-dimension", ["does not measure number of stops"], ["whole number without a unit"]),
    (COUNT, "26 gauge AWG", "wrong-dimension", ["does not measure"], ["whole number without a unit"]),
    ("spacer-sheets", "2 sheets", "wrong-dimension", ["does not measure"], ["whole number without a unit"]),
    (COUNT, "several", "malformed-value", ["cannot be read as number of stops"], ["none"]),
    # ratios
    (RATIO, "3:1", "malformed-value", ["does not say by what"], ["by volume or by mass"]),
    (RATIO, "3:0 by volume", "malformed-value", ["divides by nothing"], ["3:1 by volume"]),
    (RATIO, "3:-1 by volume", "malformed-value", ["divides by nothing"], ["3:1 by volume"]),
    (RATIO, "3:1 by hand", "malformed-value", ['"by hand" is not a known unit'], ["by volume", "by mass"]),
    (RATIO, "3:1 mm", "wrong-dimension", ["does not measure polymer-to-monomer ratio"], ["by volume", "by mass"]),
    (RATIO, "3", "malformed-value", ["has no unit"], ["by volume"]),
]


@pytest.mark.parametrize(("parameter", "text", "rule", "words", "fix"), REFUSED)
def test_what_cannot_be_meant_is_refused_with_reason_and_fix(vocabulary, parameter, text, rule, words, fix):
    with pytest.raises(ValueProblem) as problem:
        parse_quantity(text, vocabulary.parameters[parameter], vocabulary)
    assert problem.value.rule == rule
    for word in words:
        assert word in problem.value.message
    for word in fix:
        assert word in problem.value.fix


def test_every_unit_is_read_by_each_of_its_names(vocabulary):
    homes = {
        unit: parameter
        for parameter in vocabulary.parameters.values()
        if parameter.kind == "interval"
        for unit in vocabulary.units_of(vocabulary.units[parameter.unit].kind)
    }
    assert set(homes) == set(vocabulary.units.values())
    for unit, parameter in homes.items():
        for name in filter(None, (unit.symbol, unit.label, *unit.alt)):
            printed = f"2:1 {name.removeprefix(':1 ')}" if name.startswith((":1", "by ")) else f"2 {name}"
            assert parse_quantity(printed, parameter, vocabulary) == Quantity(Fraction(2), Fraction(2), unit.id), name


@pytest.mark.parametrize("spelling", ["2 mm", "2mm", "2 MM", "2  mm", "2 millimetre", "2 millimeters", "2 Millimetres"])
def test_the_spelling_of_a_unit_does_not_change_the_value(vocabulary, spelling):
    thickness = vocabulary.parameters[THICKNESS]
    assert parse_quantity(spelling, thickness, vocabulary) == parse_quantity("2 mm", thickness, vocabulary)


def test_every_unit_name_belongs_to_one_unit(vocabulary):
    owners = {}
    for unit in vocabulary.units.values():
        for name in (unit.symbol, unit.label, *unit.alt):
            owners.setdefault(name.casefold(), set()).add(unit.id)
    assert {name: ids for name, ids in owners.items() if len(ids) > 1} == {}


# --- any text whatever -----------------------------------------------------------------------------------------------

PIECES = """0 1 2 3.5 1/8 1/0 0/1 25 26 99999999 ½ ¾ ٣ ² Ⅷ e E + * / : , . % ° " ' - – — − to < > >= <= ≥ ≤ ~ ≈ about
approx. ca. none nil at least most not less more than up over under minimum mm cm in µm s min h d MPa ppm mg/m3 at 20 C
sheets sheet layers of gauge ga. AWG SWG by volume mass weight"""
pieces = st.lists(st.sampled_from([*PIECES.split(), "\t", "\n", "\x00", "\u2028"]), max_size=12)
texts = st.one_of(
    st.text(max_size=40),
    st.builds(lambda parts, joint: joint.join(parts), pieces, st.sampled_from(["", " "])),
    st.builds("{}{}{}".format, st.sampled_from([row[1] for row in ACCEPTED]), st.characters(), st.text(max_size=3)),
)


@given(text=texts, choice=st.integers(0, 10**6))
@example(text="9" * 9 + "." + "9" * 9 + " mm", choice=0)
@example(text="-" * 80, choice=0)
@example(text="1 " * 40, choice=0)
def test_no_text_raises_anything_but_a_value_problem(vocabulary, text, choice):
    measured = [p for p in vocabulary.parameters.values() if p.kind in ("interval", "count")]
    parameter = measured[choice % len(measured)]
    with contextlib.suppress(ValueProblem):
        quantity = parse_quantity(text, parameter, vocabulary)
        # What is accepted can always be compared, and printed so that it is accepted again.
        comparable(quantity, parameter, vocabulary)
        again = parse_quantity(quantity_text(quantity, vocabulary), parameter, vocabulary)
        if isinstance(quantity, Quantity):
            assert (again.unit, again.about) == (quantity.unit, quantity.about)


@pytest.mark.slow
@settings(deadline=2000)
@given(st.data())
def test_long_texts_are_answered_at_once(vocabulary, data):
    text = data.draw(texts) * 10_000
    with contextlib.suppress(ValueProblem):
        parse_quantity(text, vocabulary.parameters[THICKNESS], vocabulary)


# --- round trips -----------------------------------------------------------------------------------------------------

numbers = st.builds(
    lambda digits, places: Fraction(digits, 10**places), st.integers(-99_999_999, 99_999_999), st.integers(0, 4)
)


@st.composite
def quantities(draw, unit, whole):
    low = draw(numbers)
    high = draw(st.sampled_from([low, low + abs(draw(numbers))]))
    if whole:
        low, high = Fraction(int(low)), Fraction(int(high))
    ends = draw(st.sampled_from([(low, high), (low, None), (None, high)]))
    return Quantity(*ends, unit, draw(st.booleans()))


@given(data=st.data())
def test_a_quantity_printed_is_the_quantity_read(vocabulary, data):
    measured = [p for p in vocabulary.parameters.values() if p.kind in ("interval", "count")]
    parameter = data.draw(st.sampled_from(measured))
    units = [vocabulary.units["UNITLESS"]]
    if parameter.kind == "interval":
        units = vocabulary.units_of(vocabulary.units[parameter.unit].kind)
        # A number without a unit is read only where the parameter itself has none.
        units = [unit for unit in units if unit.id != "UNITLESS" or parameter.unit == "UNITLESS"]
    quantity = data.draw(quantities(data.draw(st.sampled_from(units)).id, parameter.kind == "count"))
    assert parse_quantity(quantity_text(quantity, vocabulary), parameter, vocabulary) == quantity


@pytest.mark.parametrize(
    ("low", "high", "symbol", "text"),
    [
        ("2", "2", "mm", "2 mm"),
        ("1", "2", "mm", "1–2 mm"),
        ("2", None, "mm", "at least 2 mm"),
        (None, "2", "mm", "at most 2 mm"),
        ("0", None, "mm", "at least 0 mm"),
        (None, None, "mm", "any"),
        # A dash before a minus sign would be misread.
        ("-3", "-2", "mm", "-3 to -2 mm"),
        ("-2", "3", "mm", "-2 to 3 mm"),
        ("30", "30", "°", "30°"),
        ("3", "3.5", ":1 by volume", "3–3.5:1 by volume"),
        ("3", "4", "", "3–4"),
        ("2/3", "2/3", "", "0.6667"),
    ],
)
def test_a_range_in_words(low, high, symbol, text):
    assert range_text(fraction(low), fraction(high), symbol) == text


def test_other_values_are_told_by_their_labels(vocabulary):
    parameters = vocabulary.parameters
    for value, parameter, text in [
        (Choice("full-spacer"), "spacer-design", "full spacer"),
        (YesNo(True), "tray-adhesive", "yes"),
        (YesNo(False), "tray-adhesive", "no"),
        (Steps(("draw-outline", "cure")), "procedure", "draw the outline → cure"),
        (Membership(frozenset(), frozenset(), True), "relief-areas", "none"),
        (Nothing(), "relief-areas", "none"),
        (Membership(frozenset({"rugae", "canine-region"}), frozenset(), True), "stop-sites", "rugae, canine region"),
        (
            Membership(frozenset({"rugae"}), frozenset({"ridge-crest"}), False),
            "relief-areas",
            "includes rugae; leaves out ridge crest",
        ),
    ]:
        assert value_text(value, parameters[parameter], vocabulary) == text
