"""The outline of the tray on the arch: landmarks, border clearance and posterior limit."""

from dataclasses import replace

from trayconcord.generators.figures.arch import (
    BACK,
    PAD,
    areas,
    beside,
    crest,
    fold,
    lingual_fold,
    outwards,
    posterior_line,
)
from trayconcord.generators.figures.base import (
    SCHEMATIC,
    SIGNS,
    canvas,
    draw_arch,
    key_line,
    narrowed,
    outline,
    remarks,
)
from trayconcord.generators.figures.drawing import Drawing, Figure, KeyLine
from trayconcord.generators.figures.measures import Measure, measure
from trayconcord.generators.figures.room import Point
from trayconcord.kb.model import Scope
from trayconcord.kb.vocabulary import Vocabulary
from trayconcord.shapes.compare import Comparison

LANDMARKS: dict[str, dict[str, Point]] = {
    "maxillary": {
        "labial-frenum": (0, -6.5), "buccal-frenum": beside(lambda a: crest("maxillary", a), 56, 7.5),
        "incisive-papilla": (3.6, 5.5), "rugae": (-5.6, 10.5), "mid-palatal-raphe": (3, 22),
        "maxillary-tuberosity": crest("maxillary", 95), "hamular-notch": (25.4, 41.5), "fovea-palatinae": (4.4, 40.6),
        "vibrating-line": (13.5, 39.6),
    },
    "mandibular": {
        "labial-frenum": (0, -6.2), "buccal-frenum": beside(lambda a: crest("mandibular", a), 52, 7.5),
        "lingual-frenum": (0, 6.8), "buccal-shelf": beside(lambda a: crest("mandibular", a), -86, 2.8),
        "mylohyoid-ridge": beside(lambda a: crest("mandibular", a), -80, -8.5),
        "retromolar-pad": crest("mandibular", -103), "retromylohyoid-space": (-13, 46),
    },
}  # fmt: skip
"""The landmarks of an arch, each with the place of its number."""


def outline_figure(comparison: Comparison, when: Scope) -> Figure:
    """The figure for a case that names an arch."""
    shape = outline(comparison, when)
    arch, vocabulary = shape.arch, comparison.vocabulary
    drawing = canvas(arch)
    draw_arch(drawing, arch)
    names = _landmarks(drawing, arch, vocabulary)
    if shape.differs:
        zone = [*shape.points(), shape.points()[0], *_back(replace(shape, far=True).points())]
        drawing.shape(zone, "zone", closed=True, fill="back", width=0.6)
    drawing.shape(shape.points(), "tray", closed=True, width=2.2)
    key: list[KeyLine] = []
    measures: list[Measure] = []

    def show(
        found: Measure, start: Point, way: Point, label: Point, what: str, anchor: str = "start", unit: float = 1
    ) -> None:
        measures.append(found)
        if found.drawn:
            sign = SIGNS[len(key)]
            drawing.dimension(found, start, way, label, sign, anchor=anchor, unit=unit)
            key.append(key_line(sign, found, f"{found.topic.parameter.label}, {what}"))

    sides: list[tuple[Measure, float, Point, str]] = [
        (shape.labial, 20, (13, -6.5), "start"),
        (shape.buccal, 72, (31.8, 4.5), "end"),
    ]
    for found, angle, label, anchor in sides:
        what = vocabulary.concepts[dict(found.topic.when)["region"]].label
        dx, dy = outwards(lambda a: fold(arch, a), angle)
        show(found, fold(arch, angle), (-dx, -dy), label, what, anchor)
    if arch == "maxillary":
        places: list[tuple[str, Point, Point, str]] = [
            ("vibrating-line", posterior_line(0.45), (10.5, 46.5), "start"),
            ("fovea-palatinae", areas(arch, "fovea-palatinae")[0][0], (-3, 46.5), "end"),
            ("hamular-notch", crest(arch, -BACK[arch]), (-23, 46.5), "middle"),
        ]
        for region, start, place, side in places:
            found = measure(comparison, "posterior-extension", narrowed(when, comparison, region=region))
            show(found, start, (0, 1), place, f"from the {vocabulary.concepts[region].label}", side)
    else:
        dx, dy = outwards(lingual_fold, 60)
        what = vocabulary.concepts["lingual-sulcus"].label
        show(shape.lingual, lingual_fold(60), (dx, dy), (4.5, 24), what, "middle")
        front = crest(arch, PAD[0])
        back = crest(arch, PAD[1])
        show(shape.behind, (front[0], front[1]), (0, 1), (20, 53.5), "from its front", "start", unit=back[1] - front[1])
    key.append(KeyLine("", "landmarks", "; ".join(f"{n + 1} {name}" for n, name in enumerate(names))))
    lines = "thick, the border of the tray; dashes, the depth of the sulcus; dots, the crest of the ridge"
    if shape.differs:
        lines += "; hatching, the zone in which the sources set the border"
    key.append(KeyLine("", "lines", lines))
    notes = [SCHEMATIC, *remarks(measures)]
    if not all(found.drawn for found in measures):
        notes.append("Where nothing sets the border, it is drawn at the landmark itself")
    title = f"Outline of the tray, {vocabulary.concepts[arch].label} arch, seen from the tissue side of the cast"
    return Figure(f"{arch}-outline", title, drawing, key, notes)


def _back(points: list[Point]) -> list[Point]:
    """A closed line from its first point the other way round, to that point again."""
    return [points[0], *points[:0:-1], points[0]]


def _landmarks(drawing: Drawing, arch: str, vocabulary: Vocabulary) -> list[str]:
    """Draw the landmarks with their numbers; returns their names in that order."""
    for number, (region, place) in enumerate(LANDMARKS[arch].items()):
        for centre, radii in areas(arch, region):
            drawing.ellipse(centre, radii, "landmark", width=0.8)
        drawing.text(place, str(number + 1))
    return [vocabulary.concepts[region].label for region in LANDMARKS[arch]]
