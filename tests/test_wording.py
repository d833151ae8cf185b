"""Values on a page: printed numbers stay as they are, converted ones keep three digits, units are set in one style."""

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from invented import store_of

from trayconcord.generators.manuscripts.rendering import render
from trayconcord.generators.marking_pages import marking_sheet
from trayconcord.generators.plan import plan
from trayconcord.generators.prompts import oral_prompts
from trayconcord.generators.quantities import derived
from trayconcord.generators.withdrawn import NOTHING, Gone, withdrawals
from trayconcord.kb.case_file import CaseFile
from trayconcord.kb.store import Store
from trayconcord.kb.values import Interval
from trayconcord.kb.vocabulary import Vocabulary
from trayconcord.shapes.compare import Comparison
from trayconcord.shapes.wording import comparable_text, position_text, printed_text, shown_text, unit_signs


def page_text(tmp_path: Path, parameter: str, value: str) -> tuple[str, str]:
    """How a page shows the one position that an invented claim makes, and what it printed."""
    form = (
        "source: {id: invented, title: Invented, kind: lecture-notes}\n"
        f"claims:\n  - {{parameter: {parameter}, value: '{value}', at: p. 1, obtained: read}}\n"
    )
    store = store_of(tmp_path, form)
    (topic,) = Comparison(store).topics
    return position_text(topic.positions[0], topic.parameter, store.vocabulary, topic.when), printed_text(
        store.claims[0], store.vocabulary
    )


@pytest.mark.parametrize(
    ("parameter", "value", "shown", "printed"),
    [
        # 1 in = 25.4 mm exactly (international yard and pound agreement, 1959)
        ("spacer-thickness", "1/16 in", "≈ 1.59 mm (1/16 in)", "1/16 in"),
        ("spacer-thickness", "1/16-1/8 in", "≈ 1.59–3.18 mm (1/16-1/8 in)", "1/16-1/8 in"),
        ("spacer-thickness", ">= 1/8 in", "≈ at least 3.18 mm (>= 1/8 in)", ">= 1/8 in"),
        ("spacer-thickness", "3/32 in", "≈ 2.38 mm (3/32 in)", "3/32 in"),
        ("spacer-thickness", "1/64 in", "≈ 397 µm (1/64 in)", "1/64 in"),
        ("spacer-thickness", "0.1 in", "2.54 mm", "0.1 in"),
        ("spacer-thickness", "0.12345 cm", "≈ 1.23 mm (0.12345 cm)", "0.12345 cm"),
        ("spacer-thickness", "1.5875 mm", "1.5875 mm", "1.5875 mm"),  # printed so, and not converted
        ("spacer-thickness", "28 gauge AWG", "≈ 0.321 mm (28 gauge AWG)", "28 gauge AWG"),
        ("spacer-thickness", "none", "none", "none"),
        ("polymer-density", "1.172-1.190 g/cm3", "1.172–1.19 g/cm³", "1.172-1.190 g/cm³"),
        ("disinfectant-dilution", "10", "1 in 10", "1 in 10"),
        ("disinfectant-dilution", "10-213", "1 in 10–213", "1 in 10–213"),
        ("wait-before-use", "20 min", "20 min", "20 min"),
        ("wall-thickness", "12 mm", "12 mm (implausible)", "12 mm"),
    ],
)
def test_a_page_shows_a_value_so(tmp_path: Path, parameter: str, value: str, shown: str, printed: str) -> None:
    assert page_text(tmp_path, parameter, value) == (shown, printed)


@given(end=st.fractions(Fraction(1, 1000), 900, max_denominator=5000))
def test_rounding_keeps_three_digits_and_changes_no_more_than_that(vocabulary: Vocabulary, end: Fraction) -> None:
    parameter = vocabulary.parameters["spacer-thickness"]
    shown = shown_text(Interval(end, end), [], parameter, vocabulary)
    number, unit = shown.removeprefix("≈ ").split()
    near = Fraction(number) / {"mm": 1, "µm": 1000}[unit]
    assert abs(near - end) <= end / 200
    assert shown.startswith("≈ ") == (near != end)
    if near != end:
        assert len(number.replace(".", "").strip("0")) <= 3


def test_units_are_set_in_one_style_and_nothing_else_is_touched() -> None:
    assert unit_signs("1.2 g/cm3 at 20 C") == "1.2 g/cm³ at 20 °C"
    assert unit_signs("11-15 deg") == "11-15°"
    assert unit_signs("4 cm2, 3 mm, 2 m3 and form3") == "4 cm², 3 mm, 2 m³ and form3"


def test_no_page_text_of_the_shipped_store_has_a_raw_exponent_or_a_long_conversion(shipped_store: Store) -> None:
    vocabulary = shipped_store.vocabulary
    rounded = 0
    for topic in Comparison(shipped_store).topics:
        for position in topic.positions:
            text = position_text(position, topic.parameter, vocabulary, topic.when)
            assert "cm3" not in text and "/m3" not in text
            if isinstance(position.value, Interval) and text != comparable_text(
                position.value, topic.parameter, vocabulary
            ):
                assert text.startswith("≈ ") and text.endswith(")")
                rounded += 1
    assert rounded > 3


INCHES = """\
source: {id: SOURCE, title: SOURCE, kind: textbook}
claims:
  - {parameter: spacer-thickness, value: SPACER, at: p. 1, obtained: read}
  - {parameter: wall-thickness, value: 1/16 in, at: p. 2, obtained: read}
  - {parameter: wax-sheet-thickness, when: {spacer-material: baseplate-wax}, value: 1/16 in, at: p. 3, obtained: read}
  - {parameter: fitting-surface-area, value: 24 cm2, at: p. 4, obtained: read}
"""


@pytest.fixture(scope="module")
def inches(tmp_path_factory: pytest.TempPathFactory) -> Store:
    """Two books that measure in inches, and differ on the spacer."""
    forms = [
        INCHES.replace("SOURCE", name).replace("SPACER", thickness)
        for name, thickness in (("one-book", "1/16 in"), ("other-book", "1/8 in"))
    ]
    return store_of(tmp_path_factory.mktemp("inches"), *forms)


def prompted(store: Store, comparison: Comparison) -> str:
    return " ".join(answer.value for prompt in oral_prompts(store, comparison) for answer in prompt.answers)


def computed(store: Store, comparison: Comparison) -> str:
    case = CaseFile(())
    return " ".join(f"{found.text} {found.inputs}" for found in derived(plan(store, comparison, case)))


def withdrawn(_: Store, comparison: Comparison) -> str:
    gone = Gone("an-item", "how thick?", "2 mm", "spacer-thickness", {}, "")
    return withdrawals(replace(NOTHING, items={"an-item": gone}), [], comparison)[0].reason


def rendered(store: Store, comparison: Comparison) -> str:
    text = '{{ range_of("spacer-thickness") }}, {{ lowest("wall-thickness") }}, {{ value("wall-thickness") }}'
    return render(text, store, comparison).text


def marked(store: Store, comparison: Comparison) -> str:
    return marking_sheet(store, comparison, ())


@pytest.mark.parametrize(
    ("output", "shown"),
    [
        (prompted, "≈ 1.59 mm (1/16 in)"),
        (computed, "≈ 1.59 mm (1/16 in)"),
        (withdrawn, "the topic is contested: ≈ 1.59 mm (1/16 in) | ≈ 3.18 mm (1/8 in)"),
        (rendered, "≈ 1.59–3.18 mm, ≈ 1.59 mm, ≈ 1.59 mm (1/16 in)"),
        (marked, "rule: ≈ 1.59 mm (1/16 in)"),
    ],
)
def test_whatever_a_reader_gets_keeps_three_digits_of_a_conversion(
    inches: Store, output: Callable[[Store, Comparison], str], shown: str
) -> None:
    text = output(inches, Comparison(inches))
    assert shown in text
    assert "3.175" not in text
    if output is not marked:  # the limits that marks depend on are exact
        assert "1.5875" not in text
