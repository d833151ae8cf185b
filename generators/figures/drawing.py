"""A small SVG writer: millimetres in, user units out, with dimension lines, patterns for grey print and text.

One user unit is one CSS pixel; ``scale`` is how many of them a millimetre takes, and stands in the drawing as
``data-scale``, so that lengths can be read back. Everything is in the colour of the text around the drawing: what
differs, differs by pattern and by line.
"""

from dataclasses import dataclass, field
from fractions import Fraction
from html import escape
from math import hypot

from trayconcord.generators.figures.measures import Measure
from trayconcord.generators.figures.room import Box, Point, Room, box_of
from trayconcord.kb.model import Claim

SHIFTS = (0, 17, -17, 34, -34)
"""How far a label may be moved from where it was asked for, in user units."""

STYLE = (
    "svg.figure{font:13px Charter,Georgia,'DejaVu Serif',serif;color:#000;background:#fff}"
    "svg.figure text{fill:currentColor;stroke:#fff;stroke-width:3px;paint-order:stroke}"
)
"""For a drawing that stands alone; on a page the style sheet says the same in the colours of the page."""

FILLS = {
    "cast": '<rect width="6" height="6" fill="currentColor" fill-opacity=".08"/>',
    "hatch": '<path d="M0 6L6 0M-1 1L1 -1M5 7L7 5" stroke="currentColor" stroke-width=".9"/>',
    "back": '<path d="M0 0L6 6M-1 5L1 7M5 -1L7 1" stroke="currentColor" stroke-width=".9"/>',
    "cross": '<path d="M0 6L6 0M0 0L6 6" stroke="currentColor" stroke-width=".7"/>',
    "dots": '<circle cx="1.5" cy="1.5" r=".9" fill="currentColor"/><circle cx="4.5" cy="4.5" r=".9" '
    'fill="currentColor"/>',
    "paper": '<rect width="6" height="6" fill="var(--paper,#fff)"/>',
    "wall": '<rect width="6" height="6" fill="currentColor" fill-opacity=".32"/>',
}
"""Patterns, each told from the others by its form, so that grey print keeps them apart."""


def number(value: float | Fraction, places: int = 4) -> str:
    """A coordinate: at most so many decimals, without trailing zeros."""
    text = f"{float(value):.{places}f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


@dataclass(frozen=True)
class KeyLine:
    """A line of the key: the sign in the drawing, what it stands for, and the claims behind it."""

    sign: str
    label: str
    text: str
    claims: tuple[Claim, ...] = ()


@dataclass
class Figure:
    """A drawing with its key and notes. ``name`` is its file name without the ending; ``series`` names the row of
    small figures that it belongs to, if any."""

    name: str
    title: str
    drawing: "Drawing"
    key: list[KeyLine] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    series: str = ""

    @property
    def description(self) -> str:
        """The figure in words: the text alternative."""
        lines = [
            f"{line.sign + ': ' if line.sign else ''}{line.label}{', ' if line.text else ''}{line.text}"
            for line in self.key
        ]
        return ". ".join([*lines, *self.notes]).replace("..", ".")

    def svg(self, alone: bool = False) -> str:
        """The figure as an SVG element; ``alone`` makes it a document of its own."""
        return self.drawing.svg(self.name, self.title, self.description, alone)


class Drawing:
    """Shapes on a canvas from ``left, top`` to ``right, bottom``, in millimetres, y downwards.

    Labels keep clear of one another and of lines as far as they can, and the canvas grows with those at its rim.
    """

    def __init__(self, left: float, top: float, right: float, bottom: float, scale: int) -> None:
        self.left, self.top, self.right, self.bottom, self.scale = left, top, right, bottom, scale
        self._parts: list[str] = []
        self._fills: set[str] = set()
        self._room = Room()

    def at(self, point: Point) -> Point:
        """A point in user units."""
        return (point[0] - self.left) * self.scale, (point[1] - self.top) * self.scale

    def shape(
        self, points: list[Point], kind: str, *, closed: bool = False, fill: str = "", width: float = 1,
        dash: str = "", data: str = "", clear: bool = True,
    ) -> None:  # fmt: skip
        """A line through points, or the area inside them. ``kind`` is its class, ``fill`` one of `FILLS`; labels keep
        ``clear`` of it."""
        places = [self.at(point) for point in points]
        if clear:
            self._room.line([*places, places[0]] if closed else places)
        path = "M" + "L".join(" ".join(number(part, 4 if data else 2) for part in place) for place in places)
        self._parts.append(
            f'<path class="{kind}" d="{path}{"Z" if closed else ""}" fill="{self._fill(fill)}" stroke="currentColor"'
            f' stroke-width="{number(width)}" stroke-linejoin="round"'
            + (f' stroke-dasharray="{dash}"' if dash else "")
            + f"{data}/>"
        )

    def ellipse(
        self, centre: Point, radii: Point, kind: str, *, fill: str = "", width: float = 1, dash: str = ""
    ) -> None:
        """An ellipse about a centre."""
        x, y = self.at(centre)
        self._parts.append(
            f'<ellipse class="{kind}" cx="{number(x)}" cy="{number(y)}" rx="{number(radii[0] * self.scale)}"'
            f' ry="{number(radii[1] * self.scale)}" fill="{self._fill(fill)}" stroke="currentColor"'
            f' stroke-width="{number(width)}"' + (f' stroke-dasharray="{dash}"' if dash else "") + "/>"
        )

    def keep_clear(self, centre: Point, half: Point) -> None:
        """Let no label cover a box, given by its centre and half its size."""
        (x, y), dx, dy = self.at(centre), half[0] * self.scale, half[1] * self.scale
        self._room.take((x - dx, y - dy, x + dx, y + dy))

    def text(self, point: Point, text: str, anchor: str = "middle", bold: bool = False) -> None:
        """A label whose middle line runs through a point."""
        self._write(self.at(point), text, anchor, bold)

    def text_beside(self, centre: Point, half: Point, text: str, side: int) -> None:
        """A label beside a box given by its centre and half its size: on the side asked for (1 is right), above,
        below, or on the other side, where there is most room."""
        (x, y), (dx, dy) = self.at(centre), (half[0] * self.scale + 4, half[1] * self.scale + 10)
        inwards, outwards = ((x + side * dx, y), "start"), ((x - side * dx, y), "end")
        if side < 0:
            inwards, outwards = (inwards[0], "end"), (outwards[0], "start")
        spot, anchor = self._room.best(text, [inwards, ((x, y - dy), "middle"), ((x, y + dy), "middle"), outwards])
        self._write(spot, text, anchor, bold=True)

    def _write(self, place: Point, text: str, anchor: str, bold: bool = False) -> None:
        x, y = place
        self._room.take(box_of(text, place, anchor))
        weight = ' font-weight="600"' if bold else ""
        self._parts.append(
            f'<text x="{number(x)}" y="{number(y + 4.5)}" text-anchor="{anchor}"{weight}>{escape(text)}</text>'
        )

    def dimension(
        self, measure: Measure, start: Point, way: Point, label: Point, sign: str, *, anchor: str = "start",
        unit: float = 1, apart: float = 1.2,
    ) -> None:  # fmt: skip
        """The lengths of a measure from a point along ``way`` (of length 1), with arrow heads and a label.

        ``unit`` is the length in millimetres that stands for 1. A measure on which sources differ gets two lines,
        ``apart`` millimetres from each other: to the smallest and to the largest value.
        """
        ends = [("min", measure.low), ("max", measure.high)] if measure.differs else [("value", measure.middle)]
        across = (-way[1], way[0])
        drawn = []
        for index, (end, value) in enumerate(ends):
            if value is None:
                continue
            first = (start[0] + across[0] * index * apart, start[1] + across[1] * index * apart)
            length = float(value) * unit
            last = (first[0] + way[0] * length, first[1] + way[1] * length)
            self._line(first, last, _data(measure, end, unit))
            drawn.append((self.at(first), self.at(last)))
        text = f"{sign} {measure.short}".strip()
        x, y = self.at(label)
        spots = [((x + right, y + down), anchor) for down in SHIFTS for right in (0, *SHIFTS[1:3])]
        place, anchor = self._room.best(text, spots)
        if drawn:
            self._leader(*drawn[0], box_of(text, place, anchor))
        self._write(place, text, anchor)

    def angle(self, measure: Measure, pivot: Point, length: float, label: Point, sign: str, anchor: str) -> None:
        """The directions of an angle from the upright, leaning to the left: one axis, or the two ends of a contest."""
        from math import cos, radians, sin

        ends = [("min", measure.low), ("max", measure.high)] if measure.differs else [("value", measure.middle)]
        for end, value in ends:
            if value is not None:
                lean = radians(float(value))
                tip = (pivot[0] - length * sin(lean), pivot[1] - length * cos(lean))
                self.shape([pivot, tip], "dimension angle", dash="5 2", data=_data(measure, end, 1))
        self.text(label, f"{sign} {measure.short}".strip(), anchor)

    def _leader(self, first: Point, last: Point, box: Box) -> None:
        """A thin line from the middle of a dimension to the box of its label, where it does not stand beside it."""
        x0, y0 = (first[0] + last[0]) / 2, (first[1] + last[1]) / 2
        if min(_gap(point, box) for point in (first, (x0, y0), last)) <= 14:
            return
        x1, y1 = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
        dx, dy = x1 - x0, y1 - y0
        share = 1 - min((box[2] - x1) / abs(dx) if dx else 9, (box[3] - y1) / abs(dy) if dy else 9)
        if share > 0:
            self._parts.append(
                f'<path class="leader" d="M{number(x0)} {number(y0)}L{number(x0 + dx * share)}'
                f' {number(y0 + dy * share)}" stroke="currentColor" stroke-width=".6" fill="none"/>'
            )

    def _line(self, start: Point, end: Point, data: str) -> None:
        """A dimension line. Short ones get their arrow heads from outside, as on any technical drawing."""
        (x0, y0), (x1, y1) = self.at(start), self.at(end)
        self._room.line([(x0, y0), (x1, y1)])
        length = hypot(x1 - x0, y1 - y0)
        way = ((x1 - x0) / length, (y1 - y0) / length) if length else (0.0, 1.0)
        out = length < 16
        heads = []
        for (x, y), towards in (((x0, y0), -1), ((x1, y1), 1)):
            side = -towards if not out else towards
            back = (x + side * way[0] * 5, y + side * way[1] * 5)
            heads.append(
                f"M{number(back[0] - way[1] * 2.2)} {number(back[1] + way[0] * 2.2)}L{number(x)} {number(y)}"
                f"L{number(back[0] + way[1] * 2.2)} {number(back[1] - way[0] * 2.2)}Z"
            )
            if out:
                heads.append(
                    f"M{number(x)} {number(y)}L{number(x + side * way[0] * 10)} {number(y + side * way[1] * 10)}"
                )
        self._parts.append(
            f'<g class="dimension"{data}><line x1="{number(x0)}" y1="{number(y0)}" x2="{number(x1)}" y2="{number(y1)}"'
            f' stroke="currentColor" stroke-width="1"/><path d="{"".join(heads)}" fill="currentColor"'
            f' stroke="currentColor" stroke-width=".8"/></g>'
        )

    def _fill(self, fill: str) -> str:
        if not fill:
            return "none"
        self._fills.add(fill)
        return f"url(#@-{fill})"

    @property
    def box(self) -> Box:
        """The canvas in user units, with what has been drawn so far."""
        return self._room.around((0, 0, *self.at((self.right, self.bottom))))

    def svg(self, name: str, title: str, description: str, alone: bool) -> str:
        """The drawing as an SVG element, with its text alternatives."""
        left, top, right, bottom = self.box
        width, height = number(right - left), number(bottom - top)
        patterns = "".join(
            f'<pattern id="{name}-{fill}" width="6" height="6" patternUnits="userSpaceOnUse">{FILLS[fill]}</pattern>'
            for fill in sorted(self._fills)
        )
        body = "".join(self._parts).replace("url(#@-", f"url(#{name}-")
        box = f"{number(left)} {number(top)} {width} {height}"
        return (
            f'<svg class="figure" xmlns="http://www.w3.org/2000/svg" viewBox="{box}" width="{width}"'
            f' height="{height}" role="img" data-scale="{self.scale}"><title>{escape(title)}</title>'
            f"<desc>{escape(description)}</desc>"
            + (f"<style>{STYLE}</style>" if alone else "")
            + (f"<defs>{patterns}</defs>" if patterns else "")
            + f"{body}</svg>"
        )


def _gap(point: Point, box: Box) -> float:
    """The distance from a point to a box."""
    x, y = point
    return hypot(max(box[0] - x, x - box[2], 0), max(box[1] - y, y - box[3], 0))


def _data(measure: Measure, end: str, unit: float) -> str:
    parts = {"parameter": measure.topic.parameter.id, "topic": measure.topic.id, "end": end}
    for name, value in (("min", measure.low), ("max", measure.high)):
        if value is not None:
            parts[name] = number(value)
    if unit != 1:
        parts["unit"] = number(unit)
    return "".join(f' data-{name}="{escape(text)}"' for name, text in parts.items())
