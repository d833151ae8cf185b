"""Which figures stand in which chapter of the vocabulary."""

from trayconcord.generators.figures.drawing import Figure
from trayconcord.generators.figures.handle import finger_rest_figure, handle_figure
from trayconcord.generators.figures.outline import outline_figure
from trayconcord.generators.figures.section import section_figures
from trayconcord.generators.figures.spacer import relief_figure, spacer_figures
from trayconcord.generators.figures.stops import stops_figure
from trayconcord.kb.model import Scope
from trayconcord.shapes.compare import Comparison


def figures_of(chapter: str, comparison: Comparison, when: Scope) -> list[Figure]:
    """The figures of a chapter for a case that names an arch; those for which the store gives nothing are left out."""
    match chapter:
        case "outline-and-borders":
            found: list[Figure | None] = [outline_figure(comparison, when)]
        case "spacer-and-relief":
            found = [
                *spacer_figures(comparison, when),
                *section_figures(comparison, when),
                relief_figure(comparison, when),
            ]
        case "stops-and-holes":
            found = [stops_figure(comparison, when)]
        case "wall-and-handle":
            found = [handle_figure(comparison, when), finger_rest_figure(comparison, when)]
        case _:
            found = []
    return [figure for figure in found if figure is not None]
