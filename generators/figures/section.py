"""Cross-sections through ridge, spacer and tray: one for each impression material, at one scale."""

from math import hypot

from trayconcord.generators.figures.base import SIGNS, arch_of, key_line, narrowed, remarks
from trayconcord.generators.figures.drawing import Drawing, Figure, KeyLine
from trayconcord.generators.figures.measures import Measure, measure
from trayconcord.generators.figures.room import Point
from trayconcord.kb.model import Scope, in_order
from trayconcord.shapes.compare import Comparison
from trayconcord.shapes.scopes import meet
from trayconcord.shapes.wording import scope_text

RIDGE, HALF, CHEEK = 9.0, 6.0, 2.6
"""The schematic ridge, in millimetres: height, half its width at the depth of the fold; the room for a cheek."""
WIDEST = 238
"""The width of a section in user units, so that a row of them is printed without shrinking its labels."""
AXES = ("impression-material", "consistency")


def materials_in(comparison: Comparison, when: Scope, parameters: tuple[str, ...]) -> list[Scope]:
    """The impression materials, with their consistency, that the claims for some parameters name in a case."""
    vocabulary = comparison.vocabulary
    found: set[Scope] = set()
    for topic in comparison.topics:
        if topic.parameter.id in parameters and meet(when, topic.when, vocabulary) is not None:
            named = {axis: concept for axis, concept in topic.when if axis in AXES}
            if AXES[0] in named:
                found.add(in_order(named, vocabulary))
    concepts = vocabulary.concepts
    return sorted(found, key=lambda scope: [(concepts[concept].order, concept) for _, concept in scope])


def section_figures(comparison: Comparison, when: Scope) -> list[Figure]:
    """A cross-section, all to one scale, for each impression material for which a source gives the thickness of the
    spacer, and one that of the wall."""
    materials = materials_in(comparison, when, ("spacer-thickness",))
    layers = {material: _layers(comparison, when, material) for material in materials}
    drawn = {material: pair for material, pair in layers.items() if all(layer.drawn for layer in pair)}
    thickest = max((_thickness(pair) for pair in drawn.values()), default=0.0)
    return [_section(comparison, when, material, pair, thickest) for material, pair in drawn.items()]


def section_figure(comparison: Comparison, when: Scope, material: Scope) -> Figure | None:
    """The cross-section for a material; None where no source gives the thickness of the spacer or of the wall."""
    layers = _layers(comparison, when, material)
    if not all(layer.drawn for layer in layers):
        return None
    return _section(comparison, when, material, layers, _thickness(layers))


def _layers(comparison: Comparison, when: Scope, material: Scope) -> tuple[Measure, Measure]:
    """The spacer and the wall of the tray over it."""
    case = narrowed(when, comparison, **dict(material))
    return measure(comparison, "spacer-thickness", case), measure(comparison, "wall-thickness", case)


def _thickness(layers: tuple[Measure, Measure]) -> float:
    return sum(float(layer.reach) for layer in layers)


def _section(
    comparison: Comparison, when: Scope, material: Scope, layers: tuple[Measure, Measure], thickest: float
) -> Figure:
    """The cross-section for a material, on a canvas that takes the thickest of its series."""
    spacer, wall = layers
    case = narrowed(when, comparison, **dict(material))
    clearance = measure(comparison, "border-clearance", narrowed(case, comparison, region="buccal-sulcus"))
    margin = measure(comparison, "spacer-margin", case)
    low, high = float(spacer.near), float(spacer.reach)
    thin, thick = high + float(wall.near), high + float(wall.reach)
    half, top = max(15.0, HALF + thickest + 4), -max(19.5, RIDGE + thickest + 5.5)
    drawing = Drawing(-half, top, half, 2.5, 7 if half < 17 else max(int(WIDEST / half / 2), 3))
    ground = [(half * 0.9 * n / 108, -profile(half * 0.9 * n / 108, half)) for n in range(-108, 109)]
    edge = half * 0.9
    drawing.shape([*ground, (edge, 2.5), (-edge, 2.5)], "cast", closed=True, fill="cast", width=1.4)
    floor = float(clearance.near) if clearance.drawn else 0.0
    rim = floor + (float(margin.near) if margin.drawn else 0.0)
    if low:
        drawing.shape(layer(0, low, rim), "spacer", closed=True, fill="hatch", width=0.8)
    if high > low:
        drawing.shape(layer(low, high, rim), "contested", closed=True, fill="back", width=0.8, dash="3 2")
    drawing.shape(layer(high, thin, floor), "wall", closed=True, fill="wall", width=1.6)
    if thick > thin:
        drawing.shape(layer(thin, thick, floor), "contested-wall", closed=True, fill="back", width=0.8, dash="3 2")
    key: list[KeyLine] = []

    def show(found: Measure, start: Point, way: Point, label: Point, anchor: str) -> None:
        if found.drawn:
            sign = SIGNS[len(key)]
            drawing.dimension(found, start, way, label, sign, anchor=anchor, apart=1.6)
            key.append(key_line(sign, found))

    show(spacer, (0, -RIDGE), (0, -1), (1.5 - half, top + 1.5), "start")
    show(wall, (2.4, -ridge(2.4) - high), (0, -1), (half - 1.5, top + 1.5), "end")
    inner, outer = surface(high, floor), surface(thin, floor)
    show(clearance, ((inner[-1][0] + outer[-1][0]) / 2, 0), (0, -1), (half - 0.2, top + 6.5), "end")
    if rim > floor:
        show(margin, (inner[0][0] + 0.7, -floor), (0, -1), (0.2 - half, top + 6.5), "start")
    vocabulary = comparison.vocabulary
    name = "-".join(concept for _, concept in material)
    zones = [m.topic.parameter.label for m in (spacer, wall) if m.differs]
    notes = [f"The other hatching is the zone on which sources differ: {', '.join(zones)}"] if zones else []
    notes += remarks([clearance, margin] if margin.differs else [clearance])
    title = f"Cross-section, {vocabulary.concepts[arch_of(when)].label} arch: {scope_text(material, vocabulary)}"
    return Figure(f"{arch_of(when)}-section-{name}", title, drawing, key, notes, "sections")


def ridge(x: float) -> float:
    """The height of the ridge of the schematic section above the depth of the folds; negative below them."""
    return RIDGE * (1 - (x / HALF) ** 4)


def profile(x: float, half: float) -> float:
    """The height of the whole cast, on a canvas from ``-half`` to ``half``: ridge, folds and cheeks."""
    return max(ridge(x), 0) + max(abs(x) - (half - CHEEK), 0) * 2.5


def surface(distance: float, floor: float) -> list[Point]:
    """The surface of the ridge moved outwards, down to a height above the folds."""
    points = []
    for number in range(-120, 121):
        x = HALF * 1.25 * number / 120
        slope = -4 * RIDGE * x**3 / HALF**4
        length = hypot(1, slope)
        points.append((x - slope / length * distance, -ridge(x) - distance / length))
    inside = [number for number, (_, y) in enumerate(points) if y <= -floor]
    first, last = inside[0], inside[-1]
    ends = []
    for one, other in ((first, first - 1), (last, last + 1)):
        (x0, y0), (x1, y1) = points[one], points[other]
        ends.append((x0 + (x1 - x0) * (-floor - y0) / (y1 - y0), -floor))
    return [ends[0], *points[first : last + 1], ends[1]]


def layer(inside: float, outside: float, floor: float) -> list[Point]:
    """What lies between two distances from the ridge, above a height."""
    return surface(outside, floor) + surface(inside, floor)[::-1]
