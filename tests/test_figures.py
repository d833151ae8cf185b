"""Figures: lengths read back out of the drawing are those of the comparison, and what is not known is not drawn."""

import re
from dataclasses import replace
from fractions import Fraction
from itertools import combinations, pairwise
from math import atan2, degrees, hypot
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trayconcord.generators.figures.chapters import figures_of
from trayconcord.generators.figures.drawing import Figure
from trayconcord.generators.figures.measures import measure
from trayconcord.generators.figures.room import box_of
from trayconcord.kb.model import Claim, Scope, comparable, in_order
from trayconcord.kb.store import Store
from trayconcord.kb.values import Choice, Interval, Quantity
from trayconcord.shapes.check import Report
from trayconcord.shapes.compare import Comparison
from trayconcord.shapes.plausible import is_plausible

ARCHES = ("maxillary", "mandibular")
SVG = "{http://www.w3.org/2000/svg}"
Point = tuple[float, float]


def case(arch: str, store: Store) -> Scope:
    return in_order({"arch": arch, "dentition": "edentulous"}, store.vocabulary)


def drawn_from(comparison: Comparison, store: Store) -> list[Figure]:
    return [
        figure
        for arch in ARCHES
        for chapter in store.vocabulary.chapters
        for figure in figures_of(chapter, comparison, case(arch, store))
    ]


def parsed(figure: Figure) -> ElementTree.Element:
    return ElementTree.fromstring(figure.svg(alone=True))


def points_of(path: ElementTree.Element) -> list[Point]:
    return [(float(x), float(y)) for x, y in re.findall(r"(-?[\d.]+) (-?[\d.]+)", path.attrib["d"])]


def lengths(svg: ElementTree.Element) -> list[tuple[str, str, float]]:
    """Topic, end and size of every dimension, measured in the drawing; an angle from the upright, in degrees."""
    scale = float(svg.attrib["data-scale"])
    found = []
    for element in svg.iter():
        if "dimension" not in element.attrib.get("class", "").split():
            continue
        line = element.find(f"{SVG}line")
        if line is None:
            (x0, y0), (x1, y1) = points_of(element)
            size = degrees(atan2(x0 - x1, y0 - y1))
        else:
            x0, y0, x1, y1 = (float(line.attrib[name]) for name in ("x1", "y1", "x2", "y2"))
            size = hypot(x1 - x0, y1 - y0) / scale / float(element.attrib.get("data-unit", "1"))
        found.append((element.attrib["data-topic"], element.attrib["data-end"], size))
    return found


def governing(topic_id: str, comparison: Comparison, store: Store) -> tuple[str, list[Interval]]:
    """What the comparison says of a topic: its standing, and the ruling's value or those of the positions."""
    parameter, _, conditions = topic_id.partition("?")
    when = in_order(dict(part.split("=") for part in conditions.split("&") if part), store.vocabulary)
    topic = comparison.at(parameter, when)
    if topic.ruling and topic.ruling.value is not None:
        values = [comparable(topic.ruling.value, topic.parameter, store.vocabulary)]
    else:
        values = [position.value for position in topic.positions]
    return topic.standing, [value for value in values if isinstance(value, Interval)]


@pytest.mark.parametrize("kind", ["shipped_report", "ruled_report"])
def test_every_length_in_a_figure_is_that_of_the_comparison(kind: str, request: pytest.FixtureRequest) -> None:
    report: Report = request.getfixturevalue(kind)
    read, kinds = 0, set()
    for figure in drawn_from(report.comparison, report.store):
        for topic, end, size in lengths(parsed(figure)):
            _, values = governing(topic, report.comparison, report.store)
            parameter = report.store.vocabulary.parameters[topic.partition("?")[0]]
            values = [value for value in values if is_plausible(value, parameter)]
            ends = [e for value in values for e in (value.low, value.high) if e is not None]
            wanted = {"min": min(ends), "max": max(ends), "value": (min(ends) + max(ends)) / 2}[end]
            assert size == pytest.approx(abs(float(wanted)), abs=0.002), (figure.name, topic, end)
            assert (end == "value") == (len(values) == 1 or min(ends) == max(ends))
            read += 1
            kinds.add(topic.partition("?")[0])
    assert read > 60
    assert kinds >= {
        "border-clearance", "posterior-extension", "retromolar-pad-coverage", "spacer-thickness", "wall-thickness",
        "spacer-margin", "stop-length", "stop-width", "handle-height", "handle-width", "handle-inclination",
    }  # fmt: skip


def distance(point: Point, line: list[Point]) -> float:
    """From a point to the nearest point of a broken line."""
    best = float("inf")
    for (x0, y0), (x1, y1) in pairwise(line):
        dx, dy = x1 - x0, y1 - y0
        share = max(0.0, min(1.0, ((point[0] - x0) * dx + (point[1] - y0) * dy) / (dx * dx + dy * dy or 1)))
        best = min(best, hypot(point[0] - x0 - share * dx, point[1] - y0 - share * dy))
    return best


@pytest.mark.parametrize("arch", ARCHES)
def test_the_border_of_the_tray_keeps_its_distance_from_the_fold(
    arch: str, shipped_report: Report, shipped_store: Store
) -> None:
    (figure,) = figures_of("outline-and-borders", shipped_report.comparison, case(arch, shipped_store))
    svg = parsed(figure)
    scale = float(svg.attrib["data-scale"])
    paths = {path.attrib["class"]: points_of(path) for path in svg.iter(f"{SVG}path") if "class" in path.attrib}
    clearance = measure(
        shipped_report.comparison,
        "border-clearance",
        in_order(dict(case(arch, shipped_store)) | {"region": "buccal-sulcus"}, shipped_store.vocabulary),
    )
    front = [point for point in paths["tray"] if point[1] / scale < 35]  # behind, other measures fix the border
    assert len(front) > 60
    for point in front:
        assert distance(point, paths["fold"]) / scale == pytest.approx(float(clearance.middle), abs=0.15)


@pytest.mark.parametrize("arch", ARCHES)
def test_the_layers_of_a_cross_section_are_as_thick_as_their_values(
    arch: str, shipped_report: Report, shipped_store: Store
) -> None:
    figures = figures_of("spacer-and-relief", shipped_report.comparison, case(arch, shipped_store))
    sections = [figure for figure in figures if figure.series == "sections"]
    assert len(sections) > 5
    for figure in sections:
        svg = parsed(figure)
        scale = float(svg.attrib["data-scale"])
        tops = {
            path.attrib["class"]: min(y for _, y in points_of(path)) / scale
            for path in svg.iter(f"{SVG}path")
            if "class" in path.attrib
        }
        (spacer,) = {t for t, _, _ in lengths(svg) if t.startswith("spacer-thickness")}
        (wall,) = {t for t, _, _ in lengths(svg) if t.startswith("wall-thickness")}
        _, values = governing(spacer, shipped_report.comparison, shipped_store)
        ends = [end for value in values for end in (value.low, value.high) if end is not None]
        _, walls = governing(wall, shipped_report.comparison, shipped_store)
        low, high = (min(ends), max(ends)) if len(values) > 1 else [(min(ends) + max(ends)) / 2] * 2
        ridge = tops["cast"]
        if low:
            assert ridge - tops["spacer"] == pytest.approx(float(low), abs=0.01)
        assert ("contested" in tops) == (high > low)
        if high > low:
            assert ridge - tops["contested"] == pytest.approx(float(high), abs=0.01)
        assert walls[0].low is not None
        assert ridge - float(high) - tops["wall"] == pytest.approx(float(walls[0].low), abs=0.01)


def test_a_spacer_design_cites_those_who_give_it_and_no_others(shipped_report: Report, shipped_store: Store) -> None:
    seen = set()
    for figure in drawn_from(shipped_report.comparison, shipped_store):
        for line in figure.key:
            if line.label == "given":
                arch, _, design = figure.name.partition("-")
                seen.add((arch, design))
                assert {claim.value for claim in line.claims} == {Choice(design)}
                whens = [dict(claim.when).get("arch", arch) for claim in line.claims]
                assert whens and set(whens) == {arch}
    assert {("maxillary", "full-spacer"), ("maxillary", "partial-spacer"), ("mandibular", "partial-spacer")} <= seen


def test_a_figure_says_in_words_what_it_shows(shipped_report: Report, shipped_store: Store) -> None:
    names = set()
    for figure in drawn_from(shipped_report.comparison, shipped_store):
        svg = parsed(figure)
        assert svg.attrib["role"] == "img"
        assert svg.findtext(f"{SVG}title") == figure.title
        description = svg.findtext(f"{SVG}desc") or ""
        for line in figure.key:
            assert line.text in description or line.text.replace("..", ".") in description
        assert figure.name not in names
        names.add(figure.name)
        used = set(re.findall(r"url\(#([^)]+)\)", figure.svg()))
        assert used == {pattern.attrib["id"] for pattern in svg.iter(f"{SVG}pattern")}
        left, top, width, height = (float(part) for part in svg.attrib["viewBox"].split())
        assert (width, height) == (float(svg.attrib["width"]), float(svg.attrib["height"]))
        for text in svg.iter(f"{SVG}text"):
            place = float(text.attrib["x"]), float(text.attrib["y"]) - 4.5
            box = box_of(text.text or "", place, text.attrib["text-anchor"])
            assert left <= box[0] and box[2] <= left + width and top <= box[1] and box[3] <= top + height
    assert len(names) > 20


# --- invented values ---


def claims(parameter: str, *values: tuple[Fraction | None, Fraction | None], **when: str) -> list[Claim]:
    """Claims of as many invented voices."""
    scope = tuple((axis.replace("_", "-"), concept) for axis, concept in when.items())
    unit = {"retromolar-pad-coverage": "UNITLESS", "stop-count": "UNITLESS"}.get(parameter, "MilliM")
    return [
        Claim(f"invented-{n}/{parameter}", f"invented-{n}", parameter, scope, Quantity(low, high, unit))
        for n, (low, high) in enumerate(values)
    ]


def compared(store: Store, *found: list[Claim]) -> Comparison:
    return Comparison(replace(store, claims=[claim for group in found for claim in group], rulings=[], sources={}))


MILLIMETRES = st.fractions(min_value=0, max_value=4, max_denominator=16)


@given(spacer=MILLIMETRES, other=MILLIMETRES, wall=st.fractions(Fraction(1, 2), 4, max_denominator=8))
def test_a_cross_section_takes_any_values(
    shipped_store: Store, spacer: Fraction, other: Fraction, wall: Fraction
) -> None:
    comparison = compared(
        shipped_store,
        claims("spacer-thickness", (spacer, spacer), (other, other), impression_material="polyether"),
        claims("wall-thickness", (wall, wall)),
        claims("border-clearance", (Fraction(2), Fraction(3))),
    )
    found = figures_of("spacer-and-relief", comparison, case("mandibular", shipped_store))
    (figure,) = (figure for figure in found if figure.series)
    assert inside(parsed(figure))
    sizes = {(topic.partition("?")[0], end): size for topic, end, size in lengths(parsed(figure))}
    if spacer == other:
        assert sizes["spacer-thickness", "value"] == pytest.approx(float(spacer), abs=0.002)
    else:
        assert sizes["spacer-thickness", "min"] == pytest.approx(float(min(spacer, other)), abs=0.002)
        assert sizes["spacer-thickness", "max"] == pytest.approx(float(max(spacer, other)), abs=0.002)
        assert "sources differ: " in figure.description
    assert sizes["wall-thickness", "value"] == pytest.approx(float(wall), abs=0.002)
    assert sizes["border-clearance", "value"] == pytest.approx(2.5, abs=0.002)  # the middle of what is given


def inside(svg: ElementTree.Element) -> bool:
    """Whether every point of every line lies on the canvas."""
    left, top, width, height = (float(part) for part in svg.attrib["viewBox"].split())
    points = [p for path in svg.iter(f"{SVG}path") if "class" in path.attrib for p in points_of(path)]
    return all(left - 1 <= x <= left + width + 1 and top - 1 <= y <= top + height + 1 for x, y in points)


def test_an_implausible_value_is_told_and_not_drawn(shipped_store: Store) -> None:
    comparison = compared(
        shipped_store,
        claims("spacer-thickness", (Fraction(1), Fraction(1)), impression_material="polyether"),
        claims("wall-thickness", (Fraction(2), Fraction(2)), (Fraction(12), Fraction(12))),
    )
    found = figures_of("spacer-and-relief", comparison, case("mandibular", shipped_store))
    (figure,) = (figure for figure in found if figure.series)
    sizes = {(topic.partition("?")[0], end): size for topic, end, size in lengths(parsed(figure))}
    assert sizes["wall-thickness", "value"] == pytest.approx(2, abs=0.002)
    assert "sources differ: 2 mm; 12 mm: outside the plausible range, not drawn" in figure.description
    alone = measure(compared(shipped_store, claims("wall-thickness", (Fraction(12),) * 2)), "wall-thickness", ())
    assert not alone.drawn and alone.told == "12 mm: outside the plausible range, not drawn"


@pytest.mark.parametrize("kind", ["shipped_report", "ruled_report"])
def test_no_label_of_a_figure_covers_another(kind: str, request: pytest.FixtureRequest) -> None:
    report: Report = request.getfixturevalue(kind)
    looked = 0
    for figure in drawn_from(report.comparison, report.store):
        boxes = [
            (text.text or "", box_of(text.text or "", (float(text.attrib["x"]), float(text.attrib["y"])), anchor))
            for text in parsed(figure).iter(f"{SVG}text")
            for anchor in [text.attrib["text-anchor"]]
        ]
        for (one, a), (other, b) in combinations(boxes, 2):
            wide, high = min(a[2], b[2]) - max(a[0], b[0]), min(a[3], b[3]) - max(a[1], b[1])
            assert wide <= 1 or high <= 1, (figure.name, one, other)
            looked += 1
    assert looked > 100


def test_a_contested_wall_is_a_zone_and_stays_on_the_canvas(shipped_store: Store) -> None:
    comparison = compared(
        shipped_store,
        claims("spacer-thickness", (Fraction(1), Fraction(1)), impression_material="polyether"),
        claims("wall-thickness", (Fraction(2), Fraction(2)), (Fraction(5), Fraction(5))),
    )
    found = figures_of("spacer-and-relief", comparison, case("mandibular", shipped_store))
    (figure,) = (figure for figure in found if figure.series)
    svg = parsed(figure)
    tops = {
        p.attrib["class"]: min(y for _, y in points_of(p)) / 7 for p in svg.iter(f"{SVG}path") if "class" in p.attrib
    }
    assert tops["cast"] - tops["wall"] == pytest.approx(3, abs=0.01)
    assert tops["cast"] - tops["contested-wall"] == pytest.approx(6, abs=0.01)
    assert "sources differ: 2 mm; 5 mm" in figure.description
    assert inside(svg)


@pytest.mark.parametrize("arch", ARCHES)
def test_a_contested_border_is_a_zone_from_the_smallest_to_the_largest_clearance(
    arch: str, shipped_store: Store
) -> None:
    comparison = compared(
        shipped_store, claims("border-clearance", (Fraction(1), Fraction(1)), (Fraction(3), Fraction(4)))
    )
    (figure,) = figures_of("outline-and-borders", comparison, case(arch, shipped_store))
    svg = parsed(figure)
    paths = {p.attrib["class"]: points_of(p) for p in svg.iter(f"{SVG}path") if "class" in p.attrib}
    for name, low, high in (("tray", 1, 1), ("zone", 1, 4)):
        gaps = [distance(p, paths["fold"]) / 5 for p in paths[name] if p[1] / 5 < 35]
        assert min(gaps) == pytest.approx(low, abs=0.15)
        assert max(gaps) == pytest.approx(high, abs=0.15)
    assert "sources differ: 1 mm; 3–4 mm" in figure.description


def test_one_voice_is_drawn_and_named_as_one(shipped_store: Store) -> None:
    comparison = compared(shipped_store, claims("border-clearance", (Fraction(3), Fraction(3))))
    (figure,) = figures_of("outline-and-borders", comparison, case("maxillary", shipped_store))
    sizes = [size for _, _, size in lengths(parsed(figure))]
    assert sizes == pytest.approx([3] * 2, abs=0.002)
    assert "3 mm (one source only)" in figure.description


def test_an_open_end_is_drawn_at_the_end_that_is_stated(shipped_store: Store) -> None:
    comparison = compared(shipped_store, claims("border-clearance", (Fraction(2), None)))
    (figure,) = figures_of("outline-and-borders", comparison, case("maxillary", shipped_store))
    sizes = [size for _, _, size in lengths(parsed(figure))]
    assert sizes == pytest.approx([2] * 2, abs=0.002)
    assert "at least 2 mm" in figure.description


def test_what_no_source_gives_is_not_drawn_and_said(shipped_store: Store) -> None:
    comparison = compared(shipped_store)
    for arch in ARCHES:
        for chapter in shipped_store.vocabulary.chapters:
            for figure in figures_of(chapter, comparison, case(arch, shipped_store)):
                assert lengths(parsed(figure)) == []
                assert "No source gives " in figure.description
    with pytest.raises(ValueError, match="nothing to draw"):
        _ = measure(comparison, "wall-thickness", ()).middle
