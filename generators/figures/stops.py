"""Where the stops lie, and how large they are."""

from trayconcord.generators.figures.arch import areas
from trayconcord.generators.figures.base import SCHEMATIC, arch_of, canvas, draw_arch, key_line, outline, remarks
from trayconcord.generators.figures.drawing import Drawing, Figure, KeyLine
from trayconcord.generators.figures.measures import measure, told
from trayconcord.generators.figures.room import Point
from trayconcord.kb.model import Scope, comparable
from trayconcord.kb.values import Comparable, Membership
from trayconcord.shapes.compare import Comparison, Topic
from trayconcord.shapes.wording import letter, position_text, printed_text


def answers(topic: Topic, comparison: Comparison) -> list[Comparable]:
    """What holds: the ruling alone, else the value of each position."""
    if topic.ruling and topic.ruling.value is not None:
        return [comparable(topic.ruling.value, topic.parameter, comparison.vocabulary)]
    return [position.value for position in topic.positions]


def answer_text(topic: Topic, comparison: Comparison) -> str:
    """The same in words, each position with its letter."""
    vocabulary = comparison.vocabulary
    if topic.ruling and topic.ruling.value is not None:
        texts = [printed_text(topic.ruling, vocabulary)]
    else:
        texts = [position_text(position, topic.parameter, vocabulary, topic.when) for position in topic.positions]
    if len(texts) > 1:
        texts = [f"{letter(number)} {text}" for number, text in enumerate(texts)]
    return told("ruled" if topic.ruling else "tied" if topic.tied else topic.standing, texts)


def draw_sites(
    drawing: Drawing, topic: Topic, comparison: Comparison, arch: str, size: tuple[float, float]
) -> list[str]:
    """Draw the sites of a set as rectangles with the letters of the positions; returns the sites without a place."""
    values = answers(topic, comparison)
    where: dict[str, list[str]] = {}
    for number, value in enumerate(values):
        if isinstance(value, Membership):
            for region in value.includes:
                where.setdefault(region, []).append(letter(number))
    concepts = comparison.vocabulary.concepts
    missing = []
    labels: list[tuple[Point, str]] = []
    for region in sorted(where, key=lambda region: (concepts[region].order, region)):
        found = areas(arch, region)
        if not found:
            missing.append(concepts[region].label)
        for (x, y), _ in found:
            half, tall = size[0] / 2, size[1] / 2
            corners = [(x - half, y - tall), (x + half, y - tall), (x + half, y + tall), (x - half, y + tall)]
            all_hold = len(where[region]) == len(values)
            drawing.shape(corners, "site", closed=True, fill="cross" if all_hold else "hatch", width=1.4)
            drawing.keep_clear((x, y), (half, tall))
            if len(values) > 1:
                labels.append(((x, y), "".join(where[region])))
    for (x, y), text in labels:  # when all the sites are drawn: a label must cover none of them
        drawing.text_beside((x, y), (size[0] / 2, size[1] / 2), text, -1 if x > 0 else 1)
    return missing


def stops_figure(comparison: Comparison, when: Scope) -> Figure | None:
    """The figure for a case that names an arch; None where no source gives a site."""
    arch, vocabulary = arch_of(when), comparison.vocabulary
    sites = comparison.at("stop-sites", when)
    if not answers(sites, comparison):
        return None
    count = measure(comparison, "stop-count", when)
    length, width = measure(comparison, "stop-length", when), measure(comparison, "stop-width", when)
    drawing = canvas(arch)
    draw_arch(drawing, arch)
    drawing.shape(outline(comparison, when).points(), "tray", closed=True, width=1.6)
    size = (float(width.near) if width.drawn else 3.0, float(length.near) if length.drawn else 3.0)
    missing = draw_sites(drawing, sites, comparison, arch, size)
    key = [KeyLine("", sites.parameter.label, answer_text(sites, comparison), sites.claims), key_line("", count)]
    # the size stands beside the arch, where no site hides it
    corner = (-31.0, 46.0) if arch == "maxillary" else (-3.0, 44.0)
    if length.drawn and width.drawn:
        x, y = corner
        box = [corner, (x + size[0], y), (x + size[0], y + size[1]), (x, y + size[1])]
        drawing.shape(box, "stop", closed=True, fill="hatch", width=1.4)
        drawing.dimension(width, (x, y - 1.6), (1, 0), (x + size[0] + 1.4, y - 1.6), "b")
        drawing.dimension(length, (x + size[0] + 1.6, y), (0, 1), (x + size[0] + 2.6, y + size[1] / 2), "a")
        key += [key_line("a", length), key_line("b", width)]
    notes = [SCHEMATIC, "A site to the side is drawn on both sides; letters name the positions of the sources"]
    if missing:
        notes.append(f"Not drawn, since the schematic has no place for it: {', '.join(missing)}")
    notes += remarks([count, length, width])
    label = vocabulary.concepts[arch].label
    return Figure(f"{arch}-stops", f"Sites and size of the stops, {label} arch", drawing, key, notes)
