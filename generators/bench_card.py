"""The bench card of a case: the steps in order with the numbers in place, for one printed page."""

from dataclasses import dataclass
from importlib.metadata import version

from markupsafe import Markup

from trayconcord.generators.figures.section import section_figure
from trayconcord.generators.plan import Plan
from trayconcord.generators.plan_output import value_line
from trayconcord.generators.quantities import derived
from trayconcord.generators.references import ReferenceList
from trayconcord.generators.rendering import render, template_text
from trayconcord.generators.work_order import PROCEDURE, doubts, work_order
from trayconcord.kb.model import Scope
from trayconcord.kb.vocabulary import Caution, Concept, Vocabulary
from trayconcord.shapes.answers import Answer, occurs, without_repeats
from trayconcord.shapes.wording import position_text, scope_text

SUPPLIES = ("spacer-material", "separating-media", "adhesive-kind", "disinfectant")
"""The parameters that say what lies ready, beside what the case itself names."""

MOST_CITED = 2
"""Claims that a line of the card cites before it counts the rest, so that one page holds it all."""

STEP = "step"
"""The scheme of the steps."""

MATERIAL_AXES = ("tray-material", "impression-material", "consistency")


@dataclass(frozen=True, slots=True)
class Line:
    """A number of the card: what it is, the value, whether the voices dispute it, its references, and how many sources
    more there are."""

    label: str
    value: str
    disputed: bool
    reason: str
    references: tuple[int, ...]
    more: int = 0


@dataclass(frozen=True, slots=True)
class Step:
    """A step of the card with the numbers that it needs, its cautions, and where to stop and ask.

    ``disputed_with`` are the steps that sources put before and after it; ``doubted`` the questions that some source
    answers so that the step is not done.
    """

    concept: Concept
    lines: tuple[Line, ...]
    cautions: tuple[Caution, ...]
    disputed_with: tuple[str, ...]
    doubted: tuple[str, ...] = ()

    @property
    def ask(self) -> str:
        """What to show or to ask before going on."""
        return self.concept.hold_point


def bench_card(made: Plan) -> str:
    """The card as one page that needs no other file."""
    vocabulary = made.store.vocabulary
    references = ReferenceList(made.store)
    order = work_order(made.case.when, made.comparison)
    shown: set[str] = set()
    doubted: set[str] = set()
    steps = []
    for step in order.steps:
        wanted = [parameter for parameter in vocabulary.concepts[step].shows if parameter not in shown]
        against = doubts(step, made.case.when, made.comparison)
        lines = tuple(line for name in wanted for line in _lines(name, made, references, name in against))
        shown |= set(wanted)
        doubting = [name for name in against if name not in doubted]
        doubted |= set(doubting)  # told once, where the first of the steps stands
        steps.append(
            Step(
                vocabulary.concepts[step],
                lines,
                tuple(
                    caution
                    for caution in vocabulary.cautions_for([step])
                    if concerns(caution, made.case.when, vocabulary)
                ),
                tuple(
                    vocabulary.concepts[o].label for pair in order.both_ways if step in pair for o in pair if o != step
                ),
                tuple(vocabulary.parameters[name].label for name in doubting),
            )
        )
    unused = {name for step in order.needless for name in vocabulary.concepts[step].shows}
    stepless = [
        name
        for name in vocabulary.parameters
        if name not in shown | unused | set(SUPPLIES)
        and any(
            name in step.shows and occurs(step.id, made.case.when, vocabulary) for step in vocabulary.in_scheme(STEP)
        )
    ]
    materials = tuple((axis, concept) for axis, concept in made.case.when if axis in MATERIAL_AXES[1:])
    rest = tuple((axis, concept) for axis, concept in made.case.when if axis not in MATERIAL_AXES[1:])
    figure = section_figure(made.comparison, rest, materials) if materials and "arch" in dict(rest) else None
    return render(
        "bench-card.html.j2",
        title=made.case.label or "Bench card",
        case=scope_text(made.case.when, vocabulary),
        steps=steps,
        origin=order.origin,
        needless=[vocabulary.concepts[step].label for step in order.needless],
        because=[
            line
            for name in dict.fromkeys(name for step in order.needless for name in vocabulary.concepts[step].unless_none)
            for line in _lines(name, made, references)
        ],
        others=[line for name in stepless for line in _lines(name, made, references)],
        waits=[
            (vocabulary.axes[question.axis].label, [vocabulary.concepts[choice].label for choice in question.choices])
            for question in made.found.questions
            if PROCEDURE in question.parameters
        ],
        supplies=_supplies(made, unused, references),
        quantities=[found for found in derived(made) if found.text],
        figure=(Markup(figure.svg()), figure) if figure else None,
        cautions=_all_cautions(steps, made),
        open=[vocabulary.axes[question.axis].question for question in made.found.questions],
        references=references.entries(),
        style=template_text("style.css") + template_text("bench-card.css"),
        version=version("trayconcord"),
    )


def concerns(caution: Caution, case: Scope, vocabulary: Vocabulary) -> bool:
    """Whether a caution can concern a case: not one that a tray material brings which the case rules out."""
    scheme, chosen = vocabulary.axes["tray-material"].scheme, dict(case).get("tray-material")
    materials = [
        concept
        for concept in caution.arises_from
        if not {"step", "disinfection-step"} & set(vocabulary.concepts[concept].schemes)
    ]
    trays = [concept for concept in materials if scheme in vocabulary.concepts[concept].schemes]
    if chosen is None or not trays or len(trays) < len(materials):
        return True
    return any(vocabulary.covers(chosen, tray) or vocabulary.covers(tray, chosen) for tray in trays)


def _lines(parameter: str, made: Plan, references: ReferenceList, doubted: bool = False) -> list[Line]:
    """The numbers of a parameter; a site is left out where the value of the whole tray holds. What is ``doubted`` is
    disputed by the answers to another question."""
    found = [answer for answer in made.found.answers if answer.parameter.id == parameter and answer.basis != "open"]
    kept = without_repeats(found, made.case.when, made.store.vocabulary)
    return [_line(answer, made, references, doubted) for answer in kept]


def _line(answer: Answer, made: Plan, references: ReferenceList, doubted: bool) -> Line:
    vocabulary, topic = made.store.vocabulary, answer.topic
    own = scope_text(tuple(c for c in topic.when if c not in made.case.when), vocabulary)
    value = value_line(answer, vocabulary)
    disputed = answer.basis in ("contested", "tied rulings")
    if disputed:
        value = " or ".join(position_text(p, answer.parameter, vocabulary, topic.when) for p in topic.positions)
    numbers, more = references.cited(topic.claims, MOST_CITED)
    return Line(
        label=answer.parameter.label + (f", {own}" if own else ""),
        value=value,
        disputed=disputed or doubted,
        reason="by decision of the course" if answer.basis == "ruling" else "",
        references=numbers,
        more=more,
    )


def _supplies(made: Plan, needless: set[str], references: ReferenceList) -> list[Line]:
    """What lies ready before the work begins; not what only needless steps would use."""
    vocabulary = made.store.vocabulary
    named = [
        Line(vocabulary.axes[axis].label, vocabulary.concepts[concept].label, False, "", ())
        for axis, concept in made.case.when
        if axis in MATERIAL_AXES
    ]
    wanted = [parameter for parameter in SUPPLIES if parameter not in needless]
    return named + [line for parameter in wanted for line in _lines(parameter, made, references)]


def _all_cautions(steps: list[Step], made: Plan) -> list[Caution]:
    """The cautions of the steps, of what lies ready and of what the case names."""
    vocabulary = made.store.vocabulary
    answered = [answer.parameter.id for answer in made.found.answers if answer.basis != "open"]
    ready = [parameter for parameter in SUPPLIES if parameter in answered]
    of_case = vocabulary.cautions_for([*(concept for _, concept in made.case.when), *ready])
    named = [caution for step in steps for caution in step.cautions]
    named += [caution for caution in of_case if concerns(caution, made.case.when, vocabulary)]
    return vocabulary.cautions_among(caution.id for caution in named)
