"""Cross-sections through ridge, spacer and tray: one for each impression material, at one scale."""

from math import hypot

from trayconcord.generators.figures.base import SIGNS, arch_of, key_line, narrowed, silences
from trayconcord.generators.figures.drawing import Drawing, Figure, KeyLine, Point
from trayconcord.generators.figures.measures import Measure, measure
from trayconcord.kb.model import Scope, in_order
from trayconcord.shapes.compare import Comparison
from trayconcord.shapes.scopes import meet
from trayconcord.shapes.wording import scope_text

RIDGE, HALF, CHEEK = 9.0, 6.0, 12.4
"""The schematic ridge, in millimetres: height, half its width at the depth of the fold, and where the cheek begins."""
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
    """A cross-section for each impression material for which a source gives the thickness of the spacer."""
    figures = []
    for material in materials_in(comparison, when, ("spacer-thickness",)):
        figure = section_figure(comparison, when, material)
        if figure is not None:
            figures.append(figure)
    return figures


def section_figure(comparison: Comparison, when: Scope, material: Scope) -> Figure | None:
    """The cross-section for a material; None where no source gives the thickness of the spacer or of the wall."""
    case = narrowed(when, comparison, **dict(material))
    spacer, wall = measure(comparison, "spacer-thickness", case), measure(comparison, "wall-thickness", case)
    clearance = measure(comparison, "border-clearance", narrowed(case, comparison, region="buccal-sulcus"))
    margin = measure(comparison, "spacer-margin", case)
    if not spacer.drawn or not wall.drawn:
        return None
    drawing = Drawing(-15, -19.5, 15, 2.5, 7)
    ground = [(x / 4, -profile(x / 4)) for x in range(-54, 55)]
    drawing.shape([*ground, (13.5, 2.5), (-13.5, 2.5)], "cast", closed=True, fill="cast", width=1.4)
    floor = float(clearance.middle) if clearance.drawn else 0.0
    low = float(spacer.low or 0) if spacer.differs else float(spacer.middle)
    high, thick = float(spacer.reach), float(wall.middle)
    edge = floor + (float(margin.middle) if margin.drawn else 0.0)
    if low:
        drawing.shape(layer(0, low, edge), "spacer", closed=True, fill="hatch", width=0.8)
    if high > low:
        drawing.shape(layer(low, high, edge), "contested", closed=True, fill="back", width=0.8, dash="3 2")
    drawing.shape(layer(high, high + thick, floor), "wall", closed=True, fill="wall", width=1.6)
    key: list[KeyLine] = []

    def show(found: Measure, start: Point, way: Point, label: Point, anchor: str, apart: float = 1.6) -> None:
        if found.drawn:
            sign = SIGNS[len(key)]
            drawing.dimension(found, start, way, label, sign, anchor=anchor, apart=apart)
            key.append(key_line(sign, found))

    show(spacer, (0, -RIDGE), (0, -1), (-13.5, -18), "start")
    show(wall, (2.4, -ridge(2.4) - high), (0, -1), (13.5, -18), "end")
    inner, outer = surface(high, floor), surface(high + thick, floor)
    show(clearance, ((inner[-1][0] + outer[-1][0]) / 2, 0), (0, -1), (14.8, -13), "end")
    if edge > floor:
        show(margin, (inner[0][0] + 0.7, -floor), (0, -1), (-14.8, -13), "start")
    vocabulary = comparison.vocabulary
    name = "-".join(concept for _, concept in material)
    notes = [] if not spacer.differs else ["The second hatching reaches from the thinnest to the thickest spacer"]
    notes += silences([clearance])
    title = f"Cross-section, {vocabulary.concepts[arch_of(when)].label} arch: {scope_text(material, vocabulary)}"
    return Figure(f"{arch_of(when)}-section-{name}", title, drawing, key, notes, "sections")


def ridge(x: float) -> float:
    """The height of the ridge of the schematic section above the depth of the folds; negative below them."""
    return RIDGE * (1 - (x / HALF) ** 4)


def profile(x: float) -> float:
    """The height of the whole cast: ridge, folds and cheeks."""
    return max(ridge(x), 0) + max(abs(x) - CHEEK, 0) * 2.5


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
