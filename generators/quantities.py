"""Quantities that follow from the answers to a case: sheets of wax, resin, powder and liquid, impression material.

Each is computed in exact fractions from ranges, so that a range comes out where ranges went in, and is shown with its
inputs. Where an input is contested, open or unknown nothing is computed and the reason is given instead. The formulas:

- volume of the tray = area x wall thickness; volume of impression material = area x spacer thickness
- mass of the tray = volume x density of the polymer
- with r parts of powder to one of liquid by mass, liquid = mass / (1 + r) and powder = mass - liquid
- volume of the dough = volume of the tray / (1 - volumetric shrinkage)
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from fractions import Fraction

from trayconcord.generators.plan import Plan
from trayconcord.kb.case_file import AREA
from trayconcord.kb.grammar import range_text
from trayconcord.kb.model import Claim, comparable
from trayconcord.kb.values import Interval
from trayconcord.shapes.answers import Answer, governing_value
from trayconcord.shapes.wording import shown_text

Range = tuple[Fraction, Fraction]
"""A range in coherent SI units."""

MILLIMETRE, GRAM, MILLILITRE = Fraction(1, 1000), Fraction(1, 1000), Fraction(1, 10**6)
"""In metres, kilograms and cubic metres."""
FAR = Fraction(1, 2) * MILLIMETRE
"""What sheets may miss the spacer by and still be named, where others come nearer."""
MOST_SHEETS = 6
"""Sheets that anybody would lay on each other."""


@dataclass(frozen=True, slots=True)
class Input:
    """A value that went into a quantity: what it is, how it reads, and what it rests on."""

    label: str
    text: str
    basis: str


@dataclass(frozen=True, slots=True)
class Derived:
    """A quantity with its inputs; ``missing`` says why there is none."""

    label: str
    text: str
    inputs: tuple[Input, ...]
    missing: str = ""


class _Missing(Exception):
    """An input that cannot be used."""


def derived(made: Plan) -> list[Derived]:
    """The quantities that follow from a plan."""
    return [make(_Inputs(made)) for make in (_sheets, _resin, _powder_and_liquid, _dough, _impression)]


class _Inputs:
    """The inputs of one quantity, noted as they are used."""

    def __init__(self, made: Plan) -> None:
        self.made, self.used = made, dict[str, Input]()
        self.vocabulary = made.store.vocabulary
        self.answers = {answer.parameter.id: answer for answer in reversed(made.found.answers)}

    def of(self, parameter: str, substance: str = "") -> Range:
        """The range of a parameter in the case, in SI units. Raises `_Missing`."""
        known = self.vocabulary.parameters[parameter]
        if parameter == AREA and self.made.case.area is not None:
            value = comparable(self.made.case.area, known, self.vocabulary)
            assert isinstance(value, Interval)
            return self._noted(parameter, value, (), known.label, "measured")
        answer = self._answer(parameter, substance)
        if answer is None or answer.basis == "open":
            raise _Missing(f"no value of {known.label} for this case")
        if answer.basis in ("contested", "tied rulings"):
            raise _Missing(f"{known.label} {'is contested' if answer.basis == 'contested' else 'has rulings that tie'}")
        governing = governing_value(answer.topic, self.vocabulary)
        if governing is None and len(answer.topic.positions) > 1:
            raise _Missing(f"{known.label}: its one source gives several values")
        told = governing if governing is not None else answer.topic.positions[0].value
        if not isinstance(told, Interval) or told.low is None or told.high is None:
            raise _Missing(f"{known.label} has an open end")
        basis = {"ruling": "the course", "agreement": f"{len(answer.topic.voices)} voices agree"}
        return self._noted(parameter, told, answer.topic.claims, known.label, basis.get(answer.basis, "one voice only"))

    def _answer(self, parameter: str, substance: str) -> Answer | None:
        if not substance:
            return self.answers.get(parameter)
        return next(
            (
                answer
                for answer in self.made.found.answers
                if answer.parameter.id == parameter and dict(answer.topic.when).get("substance") == substance
            ),
            None,
        )

    def _noted(self, parameter: str, value: Interval, claims: Iterable[Claim], label: str, basis: str) -> Range:
        known = self.vocabulary.parameters[parameter]
        assert value.low is not None and value.high is not None
        self.used[parameter] = Input(label, shown_text(value, claims, known, self.vocabulary), basis)
        factor = self.vocabulary.units[known.unit].multiplier
        return value.low * factor, value.high * factor

    def result(self, label: str, make: Callable[[], str]) -> Derived:
        """The quantity, or why there is none."""
        try:
            text = make()
        except _Missing as reason:
            return Derived(label, "", tuple(self.used.values()), str(reason))
        return Derived(label, text, tuple(self.used.values()))


def _sheets(inputs: _Inputs) -> Derived:
    """How many sheets of each nominal thickness come nearest to the spacer, and what they miss it by."""

    def make() -> str:
        low, high = inputs.of("spacer-thickness")
        if high == 0:
            return "no sheet: there is no spacer"
        rows = []
        parameter = inputs.vocabulary.parameters["wax-sheet-thickness"]
        sheets: dict[Interval, tuple[str, str]] = {}
        for topic in inputs.made.comparison.topics:
            if topic.parameter is parameter and "spacer-material" in dict(topic.when):
                material = inputs.vocabulary.concepts[dict(topic.when)["spacer-material"]].label
                for position in topic.positions:
                    if isinstance(position.value, Interval) and position.value.low and position.value.high:
                        thickness = shown_text(position.value, position.claims, parameter, inputs.vocabulary)
                        sheets.setdefault(position.value, (thickness, material))
        if not sheets:
            raise _Missing("no source gives the thickness of a sheet")
        factor = inputs.vocabulary.units[parameter.unit].multiplier
        for sheet, (thickness, material) in sheets.items():
            assert sheet.low is not None and sheet.high is not None
            one = (sheet.low * factor, sheet.high * factor)
            count = min(range(1, MOST_SHEETS + 1), key=lambda n: (_beyond(_times(one, n), (low, high)), n))
            missed = _beyond(_times(one, count), (low, high))
            laid = range_written(_times(one, count), MILLIMETRE, "mm")
            off = f"off by {range_written((missed, missed), MILLIMETRE, 'mm')}" if missed else "which fits"
            sheets_of = f"{count} sheet{'s' * (count != 1)} of {thickness} {material}"
            rows.append((missed, count, f"{sheets_of}, {laid}, {off}"))
        near = [row for row in rows if row[0] <= FAR] or [min(rows)]
        return "; ".join(text for _, _, text in sorted(near))

    return inputs.result("sheets for the spacer", make)


def _beyond(got: Range, wanted: Range) -> Fraction:
    """How far a range lies outside another at most."""
    return max(wanted[0] - got[0], got[1] - wanted[1], Fraction(0))


def _tray(inputs: _Inputs) -> Range:
    return _product(inputs.of(AREA), inputs.of("wall-thickness"))


def _resin(inputs: _Inputs) -> Derived:
    def make() -> str:
        volume = _tray(inputs)
        mass = _product(volume, inputs.of("polymer-density"))
        return f"{range_written(volume, MILLILITRE, 'cm³')}, {range_written(mass, GRAM, 'g')}"

    return inputs.result("resin of the tray body", make)


def _powder_and_liquid(inputs: _Inputs) -> Derived:
    def make() -> str:
        mass = _product(_tray(inputs), inputs.of("polymer-density"))
        volumes = inputs.of("polymer-monomer-ratio")
        by_mass = inputs.vocabulary.units["ratio-by-mass"].multiplier
        ratio = (volumes[0] / by_mass, volumes[1] / by_mass)
        liquid = (mass[0] / (1 + ratio[1]), mass[1] / (1 + ratio[0]))
        powder = (mass[0] * ratio[0] / (1 + ratio[0]), mass[1] * ratio[1] / (1 + ratio[1]))
        density = inputs.of("monomer-density")
        poured = (liquid[0] / density[1], liquid[1] / density[0])
        return (
            f"{range_written(powder, GRAM, 'g')} of powder with {range_written(liquid, GRAM, 'g')} of liquid"
            f" ({range_written(poured, MILLILITRE, 'mL')}); the maker’s measure comes first"
        )

    return inputs.result("powder and liquid", make)


def _dough(inputs: _Inputs) -> Derived:
    def make() -> str:
        volume = _tray(inputs)
        shrinkage = inputs.of("volumetric-shrinkage", "acrylic-dough")
        dough = (volume[0] / (1 - shrinkage[0]), volume[1] / (1 - shrinkage[1]))
        return range_written(dough, MILLILITRE, "cm³")

    return inputs.result("dough before it shrinks", make)


def _impression(inputs: _Inputs) -> Derived:
    def make() -> str:
        space = inputs.of("spacer-thickness")
        if space[1] == 0:
            raise _Missing("there is no spacer")
        volume = _product(inputs.of(AREA), space)
        return f"{range_written(volume, MILLILITRE, 'cm³')} between tray and tissue, without what escapes"

    return inputs.result("impression material", make)


def _product(one: Range, other: Range) -> Range:
    """Neither is negative."""
    return one[0] * other[0], one[1] * other[1]


def _times(one: Range, count: int) -> Range:
    return one[0] * count, one[1] * count


def range_written(value: Range, unit: Fraction, symbol: str) -> str:
    """A range in a unit, rounded outwards so that it still holds what was computed: lengths to two decimals at most,
    what is weighed or poured to one."""
    low, high = (end / unit for end in value)
    steps = 100 if unit == MILLIMETRE else 10
    if low == high:
        return range_text(Fraction(round(low * steps), steps), Fraction(round(low * steps), steps), symbol)
    return range_text(Fraction(low * steps // 1, steps), Fraction(-(-high * steps // 1), steps), symbol)
