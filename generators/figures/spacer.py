"""The designs of a spacer: full, full with relief, partial; each drawn with what the sources say it covers."""

from trayconcord.generators.figures.arch import areas
from trayconcord.generators.figures.base import SCHEMATIC, SIGNS, arch_of, canvas, draw_arch, key_line, outline, silences
from trayconcord.generators.figures.drawing import Figure, KeyLine
from trayconcord.generators.figures.measures import measure
from trayconcord.generators.figures.stops import answer_text, answers
from trayconcord.kb.model import Scope
from trayconcord.kb.values import Choice, Membership
from trayconcord.shapes.compare import Comparison, Topic

DESIGNS = ("full-spacer", "full-spacer-with-relief", "partial-spacer")


def spacer_figures(comparison: Comparison, when: Scope) -> list[Figure]:
    """A figure for each design that a source gives for the case, or for all designs where none does."""
    design = comparison.at("spacer-design", when)
    given = [value.concept for value in answers(design, comparison) if isinstance(value, Choice)]
    return [_figure(comparison, when, name, design) for name in DESIGNS if not given or name in given]


def _figure(comparison: Comparison, when: Scope, name: str, design: Topic) -> Figure:
    arch, vocabulary = arch_of(when), comparison.vocabulary
    shape = outline(comparison, when)
    margin = measure(comparison, "spacer-margin", when)
    inside = float(margin.middle) if margin.drawn else 0.0
    drawing = canvas(arch)
    partial = name == "partial-spacer"
    drawing.shape(shape.points(inside), "spacer", closed=True, fill="hatch", width=1.2, dash="4 2" if partial else "")
    draw_arch(drawing, arch)
    drawing.shape(shape.points(), "tray", closed=True, width=1.6)
    key = [KeyLine("", design.parameter.label, answer_text(design, comparison), (design,))]
    if margin.drawn:
        sign = SIGNS[0]
        border = shape.outer(75)
        inner = shape.outer(75, 1)
        way = (inner[0] - border[0], inner[1] - border[1])
        drawing.dimension(margin, border, way, (28.5, 14.5), sign, anchor="middle")
        key.append(key_line(sign, margin))
    notes = [SCHEMATIC, *silences([margin])]
    if not margin.drawn:
        notes.append("The spacer is drawn up to the border of the tray")
    if name != "full-spacer":
        about = comparison.at("spacer-coverage" if partial else "relief-areas", when)
        key.append(KeyLine("", about.parameter.label, answer_text(about, comparison), (about,)))
        signs = "squares, named as covered; blank with a cross mark ×, named as left bare" if partial else "dots, relief"
        key.append(KeyLine("", "pattern", f"hatching, the spacer; {signs}"))
        for value in answers(about, comparison):
            if not isinstance(value, Membership):
                continue
            for region in sorted(value.includes):
                for centre, radii in areas(arch, region):
                    drawing.ellipse(centre, radii, "area", fill="cross" if partial else "dots", width=1.3)
            for region in sorted(value.excludes):
                for centre, radii in areas(arch, region):
                    drawing.ellipse(centre, radii, "bare", fill="paper", width=1.3)
                    drawing.text(centre, "×", bold=True)
    label = vocabulary.concepts[name].label
    arch_label = vocabulary.concepts[arch].label
    return Figure(f"{arch}-{name}", f"{label[0].upper()}{label[1:]}, {arch_label} arch", drawing, key, notes)
