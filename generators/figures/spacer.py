"""The designs of a spacer: full, full with relief, partial; each drawn with what the sources say it covers."""

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
from trayconcord.generators.figures.measures import measure
from trayconcord.generators.figures.stops import answer_text, answers
from trayconcord.kb.model import Claim, Scope
from trayconcord.kb.values import Choice, Membership
from trayconcord.kb.vocabulary import Vocabulary
from trayconcord.shapes.compare import Comparison, Topic
from trayconcord.shapes.scopes import meet
from trayconcord.shapes.wording import scope_text

DESIGNS = ("full-spacer", "full-spacer-with-relief", "partial-spacer")


def spacer_figures(comparison: Comparison, when: Scope) -> list[Figure]:
    """A figure for each design that a source or the course gives for the case or for a narrower one."""
    vocabulary = comparison.vocabulary
    stated = [topic for topic in comparison.answered if topic.parameter.id == "spacer-design"]
    cases = dict.fromkeys(case for topic in stated if (case := meet(when, topic.when, vocabulary)) is not None)
    given: dict[str, list[Topic]] = {}
    for case in cases:
        topic = comparison.at("spacer-design", case)
        for value in answers(topic, comparison):
            if isinstance(value, Choice):
                given.setdefault(value.concept, []).append(topic)
    return [_design(comparison, when, name, given[name]) for name in DESIGNS if name in given]


def _given_for(name: str, given: list[Topic], when: Scope, vocabulary: Vocabulary) -> KeyLine:
    """For which cases a design is given, by the claims that give it."""
    cases = []
    claims: dict[str, Claim] = {}
    for topic in given:
        case = scope_text(tuple(pair for pair in topic.when if pair not in when), vocabulary)
        case = f"for {case}" if case else "in general"
        others = {"ruled": " (the course’s decision)", "contested": " (sources differ)", "single": " (one source only)"}
        cases.append(case + others.get("ruled" if topic.ruling else topic.standing, ""))
        claims |= {claim.id: claim for claim in topic.claims if claim.value == Choice(name)}
    return KeyLine("", "given", "; ".join(cases), tuple(claims.values()))


def relief_figure(comparison: Comparison, when: Scope) -> Figure | None:
    """The relief areas by themselves; None where no source names one."""
    arch, vocabulary = arch_of(when), comparison.vocabulary
    about = comparison.at("relief-areas", when)
    if not answers(about, comparison):
        return None
    drawing = canvas(arch)
    draw_arch(drawing, arch)
    drawing.shape(outline(comparison, when).points(), "tray", closed=True, width=1.6)
    missing = _areas(drawing, about, comparison, arch, "dots")
    key = [KeyLine("", about.parameter.label, answer_text(about, comparison), about.claims)]
    key.append(KeyLine("", "pattern", "dots, an area to be relieved"))
    notes = [SCHEMATIC, *remarks([measure(comparison, "relief-thickness", when)]), *missing]
    return Figure(f"{arch}-relief", f"Relief areas, {vocabulary.concepts[arch].label} arch", drawing, key, notes)


def _areas(drawing: Drawing, about: Topic, comparison: Comparison, arch: str, fill: str) -> list[str]:
    """Draw the regions that a set names, those that it leaves out bare; returns a note on those without a place."""
    concepts = comparison.vocabulary.concepts
    inside: set[str] = set()
    outside: set[str] = set()
    for value in answers(about, comparison):
        if isinstance(value, Membership):
            inside |= value.includes
            outside |= value.excludes
    for region in sorted(inside):
        for centre, radii in areas(arch, region):
            drawing.ellipse(centre, radii, "area", fill=fill, width=1.3)
    for region in sorted(outside):
        for centre, radii in areas(arch, region):
            drawing.ellipse(centre, radii, "bare", fill="paper", width=1.3)
            drawing.text(centre, "×", bold=True)
    missing = sorted(concepts[region].label for region in inside | outside if not areas(arch, region))
    return [f"Not drawn, since the schematic has no place for it: {', '.join(missing)}"] if missing else []


def _design(comparison: Comparison, when: Scope, name: str, given: list[Topic]) -> Figure:
    arch, vocabulary = arch_of(when), comparison.vocabulary
    shape = outline(comparison, when)
    margin = measure(comparison, "spacer-margin", when)
    inside = float(margin.near) if margin.drawn else 0.0
    drawing = canvas(arch)
    partial = name == "partial-spacer"
    drawing.shape(shape.points(inside), "spacer", closed=True, fill="hatch", width=1.2)
    draw_arch(drawing, arch)
    drawing.shape(shape.points(), "tray", closed=True, width=1.6)
    key = [_given_for(name, given, when, vocabulary)]
    if margin.drawn:
        border, inner = shape.outer(75), shape.outer(75, 1)
        way = (inner[0] - border[0], inner[1] - border[1])
        drawing.dimension(margin, border, way, (31.6, 12.5), SIGNS[0], anchor="end")
        key.append(key_line(SIGNS[0], margin))
    notes = [SCHEMATIC, *remarks([margin])]
    if not margin.drawn:
        notes.append("The spacer is drawn up to the border of the tray")
    if name != "full-spacer":
        about = comparison.at("spacer-coverage" if partial else "relief-areas", when)
        if answers(about, comparison):
            key.append(KeyLine("", about.parameter.label, answer_text(about, comparison), about.claims))
        notes += _areas(drawing, about, comparison, arch, "cross" if partial else "dots")
        signs = "crossed, named as covered; white with ×, named as left bare" if partial else "dots, relief"
        key.append(KeyLine("", "pattern", f"hatching, the spacer; {signs}"))
    label = vocabulary.concepts[name].label
    arch_label = vocabulary.concepts[arch].label
    return Figure(f"{arch}-{name}", f"{label[0].upper()}{label[1:]}, {arch_label} arch", drawing, key, notes)
