"""The handle from the front and from the side, and the finger rests from above."""

from math import cos, radians, sin

from trayconcord.generators.figures.arch import areas
from trayconcord.generators.figures.base import (
    SCHEMATIC,
    SIGNS,
    arch_of,
    canvas,
    draw_arch,
    key_line,
    outline,
    remarks,
)
from trayconcord.generators.figures.drawing import Drawing, Figure, KeyLine
from trayconcord.generators.figures.measures import Measure, measure
from trayconcord.generators.figures.room import Point
from trayconcord.generators.figures.stops import answer_text, answers, draw_sites
from trayconcord.kb.model import Scope
from trayconcord.shapes.compare import Comparison


def handle_figure(comparison: Comparison, when: Scope) -> Figure | None:
    """The handle of a case; None where no source gives its height."""
    arch = arch_of(when)
    measures = {
        name: measure(comparison, f"handle-{name}", when)
        for name in ("width", "height", "thickness", "inclination", "length")
    }
    width, height, thickness, lean, reach = measures.values()
    if not height.drawn:
        return None
    form = comparison.at("handle-form", when)
    tall = float(height.near)
    drawing = Drawing(-21, -float(height.reach) - 6, 38, 6, 5)
    key: list[KeyLine] = []

    def sign(found: Measure) -> str:
        key.append(key_line(SIGNS[len(key)], found))
        return key[-1].sign

    drawing.shape([(-14, 0), (6, 0), (6, 2), (-14, 2)], "tray", closed=True, fill="wall", width=1.4)
    drawing.text((-4, 4.2), "from the front")
    drawing.dimension(height, (-12, 0), (0, -1), (-12.8, -tall / 2), sign(height), anchor="end")
    if width.drawn:
        half = float(width.near) / 2
        drawing.shape(
            [(-4 - half, 0), (-4 - half, -tall), (-4 + half, -tall), (-4 + half, 0)], "handle", fill="cast", width=1.8
        )
        drawing.dimension(width, (-4 - half, -tall - 1.5), (1, 0), (-4, -tall - 3.4), sign(width), anchor="middle")
    # the view from the side stands where neither the width in the one nor the length in the other runs into it
    end = -4 - float(width.near) / 2 + float(width.reach) if width.drawn else 6.0
    at = max(26.0, end + (float(reach.reach) if reach.drawn else 0.0) + 14)
    pivot = (at, 0.0)
    drawing.shape([(at - 6, 0), (at + 7, 0), (at + 7, 2), (at - 6, 2)], "tray", closed=True, fill="wall", width=1.4)
    drawing.text((at + 0.5, 4.2), "from the side")
    if thickness.drawn:
        deep = float(thickness.near)
        for angle, dash in _directions(lean):
            drawing.shape(_body(pivot, tall, deep, angle), "handle", fill="" if dash else "cast", width=1.4, dash=dash)
        drawing.dimension(
            thickness, (at - deep / 2, -1), (1, 0), (at + float(thickness.reach) - deep / 2 + 2, -1.6), sign(thickness)
        )
    if lean.drawn:
        drawing.angle(lean, pivot, tall + 2.5, (at + 1.5, -tall - 3.2), sign(lean), "start")
    if reach.drawn:
        drawing.dimension(
            reach, (at, -tall / 2), (-1, 0), (at - float(reach.reach) - 1.2, -tall / 2), sign(reach), anchor="end"
        )
    if form.claims:
        key.append(KeyLine("", form.parameter.label, answer_text(form, comparison), form.claims))
    notes = [
        "Drawn as the tray stands on the bench, handle upwards; seen from the side the lip is to the left",
        *remarks(list(measures.values())),
    ]
    label = comparison.vocabulary.concepts[arch].label
    return Figure(f"{arch}-handle", f"Handle, {label} arch", drawing, key, notes)


def _directions(lean: Measure) -> list[tuple[float, str]]:
    """The angles at which the handle is drawn; the further end of a contest in dashes."""
    if not lean.drawn:
        return [(0.0, "")]
    if lean.differs and lean.low is not None and lean.high is not None:
        return [(float(lean.low), ""), (float(lean.high), "4 3")]
    return [(float(lean.middle), "")]


def _body(pivot: Point, tall: float, deep: float, angle: float) -> list[Point]:
    """The side view of a handle as high as it is tall, however it leans."""
    shift = tall * sin(radians(angle)) / cos(radians(angle))
    x = pivot[0]
    return [(x - deep / 2, 0), (x - deep / 2 - shift, -tall), (x + deep / 2 - shift, -tall), (x + deep / 2, 0)]


def finger_rest_figure(comparison: Comparison, when: Scope) -> Figure | None:
    """Handle and finger rests from above; None where no source gives a site."""
    arch = arch_of(when)
    site, count = comparison.at("finger-rest-site", when), measure(comparison, "finger-rest-count", when)
    if not answers(site, comparison):
        return None
    drawing = canvas(arch)
    draw_arch(drawing, arch)
    drawing.shape(outline(comparison, when).points(), "tray", closed=True, width=1.6)
    missing = draw_sites(drawing, site, comparison, arch, (3.0, 6.0))
    width, thickness = measure(comparison, "handle-width", when), measure(comparison, "handle-thickness", when)
    key = [KeyLine("", site.parameter.label, answer_text(site, comparison), site.claims), key_line("", count)]
    if width.drawn and thickness.drawn:
        half, deep = float(width.near) / 2, float(thickness.near)
        (_, y), _ = areas(arch, "incisor-region")[0]
        corners = [(-half, y - deep / 2), (half, y - deep / 2), (half, y + deep / 2), (-half, y + deep / 2)]
        drawing.shape(corners, "handle", closed=True, fill="wall", width=1.4)
        drawing.dimension(width, (-half, -7.6), (1, 0), (half + 1.4, -7.6), "a")
        key.append(key_line("a", width))
    notes = [SCHEMATIC, "No source gives the size of a finger rest; its sites alone are drawn to place"]
    if missing:
        notes.append(f"Not drawn, since the schematic has no place for it: {', '.join(missing)}")
    label = comparison.vocabulary.concepts[arch].label
    return Figure(f"{arch}-finger-rests", f"Handle and finger rests from above, {label} arch", drawing, key, notes)
