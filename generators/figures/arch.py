"""The schematic edentulous arch that the figures share: its form is drawn from no source and claims nothing.

Millimetres; the middle line is x = 0, the front of the crest y = 0, the back of the mouth downwards. A place along the
crest is an angle: 0 in front, 90 where the curve has turned backwards, more along the straight leg behind.
"""

from collections.abc import Callable
from math import cos, exp, hypot, radians, sin

from trayconcord.generators.figures.room import Point

HALF_WIDTH = {"maxillary": 22.0, "mandibular": 21.0}
DEPTH = {"maxillary": 34.0, "mandibular": 36.0}
LEG = 0.62
"""Beyond 90 a degree counts this many millimetres, straight backwards."""
TO_FOLD, TO_TONGUE = 6.0, 6.0
FRENA = {"maxillary": ((0, 3.0), (56, 2.4), (-56, 2.4)), "mandibular": ((0, 2.6), (52, 2.2), (-52, 2.2))}
BACK = {"maxillary": 100, "mandibular": 112}
"""Where the arch ends: at the hamular notch, and behind the retromolar pad."""
PAD = (96, 110)
"""The retromolar pad along the crest."""
SITES = {
    "incisor-region": 10, "canine-region": 34, "premolar-region": 55, "molar-region": 80, "first-molar-region": 74,
    "second-molar-region": 87, "maxillary-tuberosity": 95, "retromolar-pad": 103, "ridge-crest": 64,
    "residual-ridge": 64, "tooth-site": 10,
}  # fmt: skip
"""Places on the crest, the same on both sides."""


def crest(arch: str, angle: float) -> Point:
    """A point of the crest of the ridge."""
    side = -1 if angle < 0 else 1
    turn, beyond = min(abs(angle), 90), max(abs(angle) - 90, 0) * LEG
    return side * HALF_WIDTH[arch] * sin(radians(turn)), DEPTH[arch] * (1 - cos(radians(turn))) + beyond


def outwards(curve: Callable[[float], Point], angle: float) -> Point:
    """The direction away from the middle of the arch, at right angles to a curve."""
    (x0, y0), (x1, y1) = curve(angle - 0.01), curve(angle + 0.01)
    length = hypot(x1 - x0, y1 - y0)
    return (y1 - y0) / length, -(x1 - x0) / length


def beside(curve: Callable[[float], Point], angle: float, distance: float) -> Point:
    """A point at a distance from a curve, outwards where it is positive."""
    (x, y), (dx, dy) = curve(angle), outwards(curve, angle)
    return x + dx * distance, y + dy * distance


def fold(arch: str, angle: float) -> Point:
    """The depth of the labial and buccal sulcus, with the frena."""
    distance = TO_FOLD - sum(deep * exp(-(((angle - place) / 6) ** 2)) for place, deep in FRENA[arch])
    fading = max(abs(angle) - (84 if arch == "maxillary" else 98), 0) / 16
    return beside(lambda a: crest(arch, a), angle, distance * max(1 - fading * fading, 0.25))


def lingual_fold(angle: float) -> Point:
    """The depth of the lingual sulcus of a lower arch, with the lingual frenum."""
    distance = TO_TONGUE - 2.4 * exp(-((angle / 7) ** 2))
    fading = max(abs(angle) - 98, 0) / 16
    return beside(lambda a: crest("mandibular", a), angle, -distance * max(1 - fading * fading, 0.25))


def along(curve: Callable[[float], Point], start: float, end: float, step: float = 2) -> list[Point]:
    """Points of a curve between two angles, both ends included."""
    count = max(round(abs(end - start) / step), 1)
    return [curve(start + (end - start) * number / count) for number in range(count + 1)]


def posterior_line(share: float) -> Point:
    """The line across the palate from notch to notch, bowed backwards; ``share`` runs from -1 to 1."""
    x, y = crest("maxillary", BACK["maxillary"])
    return share * x, y + 3.0 * (1 - share * share)


Area = tuple[Point, Point]
"""An ellipse: its centre and its radii."""


def areas(arch: str, region: str) -> list[Area]:
    """Where a region lies, as ellipses; none where the schematic has no place for it."""
    middle = {
        "incisive-papilla": ((0.0, 5.5), (1.6, 2.4)),
        "mid-palatal-raphe": ((0.0, 22.0), (1.1, 12.0)),
        "torus-palatinus": ((0.0, 24.0), (3.2, 7.0)),
        "posterior-palatal-seal-area": ((0.0, 39.0), (17.0, 2.4)),
        "hard-palate": ((0.0, 23.0), (11.0, 14.0)),
        "posterior-border": ((0.0, 40.6), (17.0, 1.2)),
        "palate": ((0.0, 23.0), (11.0, 14.0)),
    }
    pairs = {
        "rugae": ((5.6, 10.5), (4.0, 2.8)),
        "fovea-palatinae": ((1.6, posterior_line(0)[1] - 2), (0.6, 0.6)),
        "canine-eminence": (beside(lambda a: crest("maxillary", a), 36, 3.2), (2.0, 2.0)),
    }
    lower = {
        "buccal-shelf": (beside(lambda a: crest("mandibular", a), 86, 2.8), (1.9, 5.0)),
        "mylohyoid-ridge": (beside(lambda a: crest("mandibular", a), 80, -3.6), (1.0, 7.0)),
        "mental-foramen": (beside(lambda a: crest("mandibular", a), 50, 2.4), (1.2, 1.2)),
        "torus-mandibularis": (beside(lambda a: crest("mandibular", a), 48, -3.4), (1.8, 2.4)),
        "retromolar-pad": (crest("mandibular", sum(PAD) / 2), (2.4, (PAD[1] - PAD[0]) / 2 * LEG)),
        "external-oblique-ridge": (beside(lambda a: crest("mandibular", a), 82, 5.2), (0.8, 6.0)),
    }
    if arch == "maxillary":
        if region in middle:
            return [middle[region]]
        if region in pairs:
            return _both(pairs[region])
    elif region in lower:
        return _both(lower[region])
    elif region == "genial-tubercle":
        return [((0.0, 4.6), (1.6, 1.0))]
    if region == {"mandibular": "maxillary-tuberosity", "maxillary": "retromolar-pad"}[arch]:
        return []
    return _both((crest(arch, SITES[region]), (2.2, 2.6))) if region in SITES else []


def _both(area: Area) -> list[Area]:
    (x, y), radii = area
    return [((-x, y), radii), ((x, y), radii)]
