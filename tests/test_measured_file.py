"""Files of measurements: what people may write, and what every mistake is told as. Everything here is invented."""

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.measured_file import MeasuredFile, Measurement, read_measured
from trayconcord.kb.values import Choice, Interval, Membership, Steps, YesNo
from trayconcord.kb.vocabulary import Vocabulary
from trayconcord.shapes.marking import sites_of

Reading = Callable[[str], MeasuredFile]


@pytest.fixture
def read(tmp_path: Path, vocabulary: Vocabulary) -> Reading:
    """A function that reads a file of a maxillary tray from its text."""

    def reading(text: str) -> MeasuredFile:
        path = tmp_path / "measured.yaml"
        path.write_text(text, encoding="utf-8")
        return read_measured(path, vocabulary, sites_of((("arch", "maxillary"),), vocabulary))

    return reading


def only(read: Reading, measured: str, head: str = "") -> Measurement:
    found = read(f"{head}\ntray: {{id: A, measured: {{{measured}}}}}\n")
    (measurement,) = found.trays[0].measurements
    return measurement


def told(read: Reading, text: str) -> list[str]:
    """Each complaint as line:column message | fix."""
    with pytest.raises(UnusableInput) as error:
        read(text)
    return [f"{c.place.line}:{c.place.column} {c.message} | {c.fix}" for c in error.value.complaints]


# --- what may be written ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "number", "uncertainty"),
    [
        ("1.8 mm", "1.8", None),
        ("1.8 mm +- 0.2 mm", "1.8", "0.2"),
        ("1.8 mm ± 0.2 mm", "1.8", "0.2"),
        ("1.8 ± 0.2 mm", "1.8", "0.2"),
        ("1.8 mm +/- 200 µm", "1.8", "0.2"),
        ("0.2 cm", "2", None),
        ("1/16 in", "1.5875", None),
        ("{value: 1.8 mm, uncertainty: 0.2 mm}", "1.8", "0.2"),
        ("{value: 1.8 mm, with: calliper}", "1.8", "0.1"),
        ("{value: 1.8 mm +- 0.2 mm, with: calliper}", "1.8", "0.2"),
        ("1.8 mm +- 0 mm", "1.8", "0"),
    ],
)
def test_a_number_and_its_uncertainty(read: Reading, written: str, number: str, uncertainty: str | None) -> None:
    found = only(read, f"wall-thickness: {written}", "instruments: {calliper: 0.1 mm}")
    assert found.value == Interval(Fraction(number), Fraction(number))
    assert found.uncertainty == (None if uncertainty is None else Fraction(uncertainty))


def test_none_is_the_number_that_it_stands_for(read: Reading) -> None:
    assert only(read, "spacer-thickness: none").value == Interval(Fraction(0), Fraction(0))


def test_the_uncertainty_comes_from_the_nearest_place_that_states_one(read: Reading) -> None:
    head = "instruments: {calliper: 0.1 mm}\nuncertainty: {wall-thickness: 0.3 mm}"
    cases = {
        "1.8 mm +- 0.2 mm": (Fraction(1, 5), "measurement"),
        "{value: 1.8 mm, with: calliper}": (Fraction(1, 10), "instrument"),
        "1.8 mm": (Fraction(3, 10), "file"),
    }
    for written, expected in cases.items():
        found = only(read, f"wall-thickness: {written}", head)
        assert (found.uncertainty, found.uncertainty_from) == expected
    found = only(read, "handle-length: 8 mm", head)
    assert (found.uncertainty, found.uncertainty_from) == (None, "")


def test_sites_observations_and_notes(read: Reading) -> None:
    found = read("""\
label: A class
trays:
  - id: A-1
    note: dropped
    measured:
      border-clearance: {labial-sulcus: 2 mm, posterior-border: {value: 1 mm, note: "near the notch"}}
      stop-count: {value: 3, unsure: yes}
      stop-sites: [canine-region, first-molar-region]
      relief-areas: none
      frenum-relief: {value: no, unsure: yes}
      tray-fit: spaced
      procedure: [draw-outline, adapt-spacer]
  - {id: "07", measured: {}}
""")
    assert [(tray.id, len(tray.measurements), tray.note) for tray in found.trays] == [
        ("A-1", 8, "dropped"),
        ("07", 0, ""),
    ]
    by_place = {(one.parameter, one.site): one for one in found.trays[0].measurements}
    assert by_place["border-clearance", "posterior-border"].note == "near the notch"
    assert by_place["stop-count", ""].unsure and by_place["frenum-relief", ""].unsure
    assert by_place["stop-sites", ""].value == Membership(
        frozenset({"canine-region", "first-molar-region"}), frozenset(), True
    )
    assert by_place["relief-areas", ""].value == Membership(frozenset(), frozenset(), True)
    assert by_place["frenum-relief", ""].value == YesNo(False)
    assert by_place["tray-fit", ""].value == Choice("spaced")
    assert by_place["procedure", ""].value == Steps(("draw-outline", "adapt-spacer"))
    place = by_place["border-clearance", "labial-sulcus"].place
    assert place is not None and (place.line, place.column) == (6, 41)


def test_without_a_case_every_site_may_be_named(tmp_path: Path, vocabulary: Vocabulary) -> None:
    path = tmp_path / "measured.yaml"
    path.write_text("tray: {id: A, measured: {wall-thickness: {lingual-flange: 2 mm}}}")
    assert read_measured(path, vocabulary).trays[0].measurements[0].site == "lingual-flange"


# --- mistakes --------------------------------------------------------------------------------------------------------

MISTAKES = {
    # missing
    "wall-thickness: ": "1:41 wall-thickness is empty | give it a value or leave the key out",
    "wall-thickness: {}": "wall-thickness: value is missing | add value:, or leave out what was not measured",
    "wall-thickness: {uncertainty: 1 mm}": "wall-thickness: value is missing | add value:",
    # impossible
    "wall-thickness: 12 mm": "12 mm is impossible for wall thickness, which lies in 0.5–6 mm | look at the number and",
    "wall-thickness: -1 mm": "-1 mm is impossible for wall thickness",
    "stop-count: 20": "20 is impossible for number of stops, which lies in 0–8",
    "wall-thickness: 2 mm +- -0.1 mm": "the uncertainty -0.1 mm is negative | write it without a sign",
    # wrong unit, no unit
    "wall-thickness: 2 h": '"2 h" is in hour, which does not measure wall thickness | write one of',
    "wall-thickness: 2": '"2" has no unit | write the unit, as in 2 mm',
    "wall-thickness: 2 mm +- 3 deg": "which does not measure wall thickness",
    "wait-before-use: 2 mm": "which does not measure waiting time before use",
    "stop-count: 2.5": "number of stops is a count, 2.5 is not whole",
    # not one number
    "wall-thickness: 2-3 mm": '"2-3 mm" is a range | write one number',
    "wall-thickness: at least 2 mm": '"at least 2 mm" is a range',
    "wall-thickness: about 2 mm": "does not say how sure it is | write one number, with +-",
    "wall-thickness: 2 mm +- 1 mm +- 1 mm": "has two uncertainties",
    "wall-thickness: thick": '"thick" cannot be read as wall thickness | write it like "2 mm"',
    # unknown
    "wall-thicknes: 2 mm": "measured: unknown term wall-thicknes | did you mean wall-thickness?",
    "wall-thickness: {palat: 2 mm}": "site: unknown term palat | did you mean palate (",
    "wall-thickness: {lingual-flange: 2 mm}": "site: a tray of this case has no place lingual-flange | use one",
    "tray-fit: tight": "value: unknown term tight",
    "wall-thickness: {value: 2 mm, with: ruler}": "with: unknown instrument ruler | add it under instruments",
    "flexural-strength: 60 MPa": "measured: flexural-strength is not taken from a tray | use one of: tray-fit",
    # of the wrong kind
    "wait-before-use: {palate: 2 h}": "wait-before-use: is taken once for a tray, not site by site",
    "stop-sites: {includes: [canine-region]}": "stop-sites: a part of a set | list all that is there",
    "stop-sites: {value: {includes: [canine-region]}}": "stop-sites: a part of a set | list all that is there",
    "frenum-relief: perhaps": "value: perhaps | write yes or no",
    "frenum-relief: {value: yes, uncertainty: 1 mm}": "uncertainty of what is not a quantity | write unsure: yes",
    "frenum-relief: {value: yes, unsure: maybe}": "unsure: maybe | write yes or no",
    "wall-thickness: {value: 2 mm, unsure: yes}": "unsure of a quantity | state its uncertainty",
    "wall-thickness: [2 mm]": "wall-thickness must be a single value",
    # twice
    "wall-thickness: 2 mm, wall-thickness: 3 mm": "measured: the key wall-thickness stands twice",
    "wall-thickness: {palate: 2 mm, palate: 3 mm}": "wall-thickness: the key palate stands twice",
    "wall-thickness: {value: 2 mm +- 1 mm, uncertainty: 1 mm}": "the uncertainty stands twice | keep one of the two",
    "wall-thickness: {value: 2 mm, size: 1}": "wall-thickness: unknown key size",
}


@pytest.mark.parametrize("measured", MISTAKES)
def test_a_mistake_in_a_measurement_is_told_at_its_place(read: Reading, measured: str) -> None:
    (complaint,) = told(read, f"tray: {{id: A, measured: {{{measured}}}}}\n")
    assert complaint.startswith("1:")
    assert MISTAKES[measured] in complaint
    assert complaint.rpartition(" | ")[2], "no fix"


FILES = {
    "label: x\n": "1:1 no tray is measured | write one tray: or a list of trays:",
    "tray: {id: A, measured: {}}\ntrays: []\n": "1:1 tray and trays stand side by side",
    "trays:\n  - {measured: {}}\n": "2:5 tray: id is missing | add id:",
    "trays:\n  - {id: A}\n": "2:5 tray: measured is missing | add measured:",
    "tray: {id: Ann Student, measured: {}}\n": "1:12 id: Ann Student | write a code of up to 40",
    "trays:\n  - {id: A, measured: {}}\n  - {id: A, measured: {}}\n": "3:5 tray A stands already at line 2",
    "trays: {id: A}\n": "1:8 trays must be a list",
    "tray: A\n": "1:7 tray must be a mapping",
    "uncertainty: {frenum-relief: 1 mm}\ntray: {id: A, measured: {}}\n": "1:30 relief at the frena is not a quantity",
    "uncertainty: {wall-thickness: 1 s}\ntray: {id: A, measured: {}}\n": "1:31 uncertainty: ",
    "instruments: {ruler: 1 s}\ntray: {id: A, measured: {wall-thickness: {value: 2 mm, with: ruler}}}\n": (
        "2:62 uncertainty: "
    ),
    "instruments: {ruler: half}\ntray: {id: A, measured: {}}\n": "1:22 instruments: half is no uncertainty",
    "students: []\ntray: {id: A, measured: {}}\n": "1:1 the file: unknown key students",
}


@pytest.mark.parametrize("text", FILES)
def test_a_mistake_in_the_file_is_told_at_its_place(read: Reading, text: str) -> None:
    (complaint,) = told(read, text)
    assert complaint.startswith(FILES[text])


def test_every_mistake_is_told_at_once(read: Reading) -> None:
    complaints = told(
        read,
        "trays:\n"
        "  - id: A\n"
        "    measured:\n"
        "      wall-thickness: {palate: 12 mm, palat: 25 mm}\n"
        "      stop-count: 3 mm\n"
        "  - id: A\n"
        "    measured: {handle-length: 8}\n",
    )
    assert [complaint.split()[0] for complaint in complaints] == ["4:32", "4:39", "4:46", "5:19", "6:5", "7:31"]


@given(st.text(st.characters(blacklist_categories=["Cs"]), max_size=40))
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_text_raises_anything_but_unusable_input(read: Reading, text: str) -> None:
    for whole in (
        text,
        f"tray: {{id: A, measured: {{wall-thickness: {text}}}}}",
        f"tray: {{id: A, measured: {{{text}: 1}}}}",
    ):
        try:
            found = read(whole)
        except UnusableInput as error:
            assert all(complaint.message for complaint in error.complaints)
        else:
            assert found.trays
