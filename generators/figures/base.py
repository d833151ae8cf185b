"""What the figures seen from above share: the arch with its folds, the tray's outline, and lines of the key."""

from collections.abc import Callable
from dataclasses import dataclass

from trayconcord.generators.figures.arch import (
    BACK,
    LEG,
    PAD,
    along,
    crest,
    fold,
    lingual_fold,
    outwards,
    posterior_line,
)
from trayconcord.generators.figures.drawing import Drawing, KeyLine
from trayconcord.generators.figures.measures import Measure, measure
from trayconcord.generators.figures.room import Point
from trayconcord.kb.model import Scope, in_order
from trayconcord.shapes.compare import Comparison

SCHEMATIC = "The arch is schematic: its own form and proportions are no data"
SIGNS = "abcdefghijklmnopqrstuvwxyz"


def narrowed(when: Scope, comparison: Comparison, **axes: str) -> Scope:
    """A case with further conditions; ``impression_material`` stands for the axis impression-material."""
    named = {axis.replace("_", "-"): concept for axis, concept in axes.items()}
    return in_order(dict(when) | named, comparison.vocabulary)


def arch_of(when: Scope) -> str:
    """The arch that a case is about."""
    return dict(when)["arch"]


def key_line(sign: str, found: Measure, label: str = "") -> KeyLine:
    """The line of the key for a measure."""
    return KeyLine(sign, label or found.topic.parameter.label, found.told, found.topic.claims)


def remarks(found: list[Measure]) -> list[str]:
    """Notes on what no source gives and the figure leaves out, and on how it shows what the sources differ on."""
    notes = []
    missing = [m.topic.parameter.label for m in found if not m.topic.positions and not m.drawn]
    if missing:
        notes.append(f"No source gives {', '.join(dict.fromkeys(missing))} for this case; not drawn")
    if any(m.differs for m in found):
        notes.append(
            "Where sources differ, the smallest value is drawn, and the marks show the smallest and the largest"
        )
    return notes


@dataclass(frozen=True)
class Outline:
    """The tray's outline on the schematic arch, from the measures that fix it."""

    arch: str
    labial: Measure
    buccal: Measure
    lingual: Measure
    behind: Measure
    """Posterior extension at the vibrating line, or the coverage of the retromolar pad."""
    far: bool = False
    """Where sources differ, the border at the largest value instead of the smallest."""

    @property
    def differs(self) -> bool:
        """Whether the border has a zone rather than a line."""
        return any(m.differs for m in (self.labial, self.buccal, self.lingual, self.behind))

    def _length(self, found: Measure, missing: float = 0.0) -> float:
        if not found.drawn:
            return missing
        return float(found.reach if self.far else found.near)

    def clearance(self, angle: float) -> float:
        """How far from the fold the tray ends on the outer side: labial in front, buccal behind, with a short blend."""
        front, side = (self._length(m) for m in (self.labial, self.buccal))
        share = min(max((abs(angle) - 28) / 8, 0), 1)
        return front * (1 - share) + side * share

    def outer(self, angle: float, inside: float = 0) -> Point:
        """A point of the border towards lip and cheek, or ``inside`` millimetres in from it."""
        return _inwards(lambda a: fold(self.arch, a), angle, self.clearance(angle) + inside, 1)

    def inner(self, angle: float, inside: float = 0) -> Point:
        """A point of the border towards the tongue."""
        return _inwards(lingual_fold, angle, self._length(self.lingual) + inside, -1)

    def end(self) -> float:
        """The angle at which the tray ends behind."""
        if self.arch == "maxillary":
            return BACK["maxillary"] - 4
        return PAD[0] + self._length(self.behind, 1.0) * (PAD[1] - PAD[0])

    def points(self, inside: float = 0) -> list[Point]:
        """The closed outline, or the line ``inside`` millimetres in from it."""
        end = self.end() - inside / LEG
        outer = along(lambda a: self.outer(a, inside), -end, end)
        if self.arch == "mandibular":
            return outer + along(lambda a: self.inner(a, inside), end, -end)
        extension = self._length(self.behind)
        back = [posterior_line(0.9 - number * 0.1) for number in range(19)]
        return outer + [(x, y + extension - inside) for x, y in back]


def _inwards(curve: Callable[[float], Point], angle: float, distance: float, sign: int) -> Point:
    (x, y), (dx, dy) = curve(angle), outwards(curve, angle)
    return x - sign * dx * distance, y - sign * dy * distance


def outline(comparison: Comparison, when: Scope) -> Outline:
    """The outline of the tray of a case."""
    arch = arch_of(when)

    def at(parameter: str, **axes: str) -> Measure:
        return measure(comparison, parameter, narrowed(when, comparison, **axes))

    return Outline(
        arch,
        at("border-clearance", region="labial-sulcus"),
        at("border-clearance", region="buccal-sulcus"),
        at("border-clearance", region="lingual-sulcus"),
        at("posterior-extension", region="vibrating-line") if arch == "maxillary" else at("retromolar-pad-coverage"),
    )


def canvas(arch: str) -> Drawing:
    """The canvas for a view of the arch from above."""
    return Drawing(-32, -10, 32, 48 if arch == "maxillary" else 56, 5)


def draw_arch(drawing: Drawing, arch: str) -> None:
    """The folds and the crest of the schematic arch."""
    end = BACK[arch]
    outer = along(lambda a: fold(arch, a), -end, end)
    if arch == "maxillary":
        back = [posterior_line(1 - number / 12) for number in range(25)]
        drawing.shape(outer, "fold", width=1, dash="7 3")
        drawing.shape(back, "vibrating-line", width=1, dash="2 3")
    else:
        drawing.shape([*outer, *along(lingual_fold, end, -end)], "fold", closed=True, width=1, dash="7 3")
    drawing.shape(along(lambda a: crest(arch, a), -end + 6, end - 6), "crest", width=0.8, dash="1 4", clear=False)
