"""Room for labels: where a text covers no other text and no line, and how large the canvas has to be."""

from itertools import pairwise
from math import hypot

Point = tuple[float, float]
Box = tuple[float, float, float, float]
"""Left, top, right and bottom, in user units."""
WIDTHS = dict.fromkeys("mwMW%×", 12.5) | dict.fromkeys(" .,;:/°’", 4.6)
SIGN = 8.4
"""Widths of the signs of a label of 13 px in the widest of the figures' typefaces; of any other sign, `SIGN`."""
HEIGHT = 15.0
STEP = 3.0
"""The distance between the points by which a line is remembered."""


def box_of(text: str, place: Point, anchor: str) -> Box:
    """The box of a label whose middle line runs through a place; ``anchor`` is that of SVG."""
    width = sum(WIDTHS.get(sign, SIGN) for sign in text)
    left = place[0] - {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor] * width
    return left, place[1] - HEIGHT / 2, left + width, place[1] + HEIGHT / 2


class Room:
    """What a drawing holds so far, as far as labels mind."""

    def __init__(self) -> None:
        self._boxes: list[Box] = []
        self._points: list[Point] = []

    def take(self, box: Box) -> None:
        """Remember a label, or something else that no label may cover."""
        self._boxes.append(box)

    def line(self, points: list[Point]) -> None:
        """Remember a line through points."""
        for (x0, y0), (x1, y1) in pairwise(points):
            count = max(int(hypot(x1 - x0, y1 - y0) / STEP), 1)
            self._points += [(x0 + (x1 - x0) * n / count, y0 + (y1 - y0) * n / count) for n in range(count)]

    def best(self, text: str, spots: list[tuple[Point, str]]) -> tuple[Point, str]:
        """The place and anchor at which least is in the way of a label, the first of those that are as good."""
        return min(spots, key=lambda spot: self._in_the_way(box_of(text, *spot)))

    def _in_the_way(self, box: Box) -> float:
        left, top, right, bottom = box
        covered = 0.0
        for x0, y0, x1, y1 in self._boxes:
            covered += max(min(right, x1) - max(left, x0), 0) * max(min(bottom, y1) - max(top, y0), 0)
        return covered * 10 + sum(left < x < right and top < y < bottom for x, y in self._points)

    def around(self, canvas: Box) -> Box:
        """The canvas with room for every label and line at its rim."""
        boxes = [canvas, *self._boxes, *((x - 2, y - 2, x + 2, y + 2) for x, y in self._points)]
        return (
            min(box[0] for box in boxes), min(box[1] for box in boxes),
            max(box[2] for box in boxes), max(box[3] for box in boxes),
        )  # fmt: skip
