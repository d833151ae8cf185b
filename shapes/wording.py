"""Values, conditions and positions in the words of a reader."""

from trayconcord.kb.grammar import range_text, value_text
from trayconcord.kb.model import Claim, Ruling, Scope
from trayconcord.kb.values import Comparable, Interval
from trayconcord.kb.vocabulary import Parameter, Vocabulary
from trayconcord.shapes.compare import Position, Topic


def comparable_text(value: Comparable, parameter: Parameter, vocabulary: Vocabulary) -> str:
    """A comparable value in the parameter's unit; the quantity that none stands for is written so."""
    if isinstance(value, Interval):
        return range_text(value.low, value.high, vocabulary.units[parameter.unit].symbol)
    return value_text(value, parameter, vocabulary)


def stated_text(record: Claim | Ruling, vocabulary: Vocabulary) -> str:
    """What a claim or ruling states, as it was printed where that is kept."""
    if record.printed:
        return record.printed
    if record.value is None:
        return "(no readable value)"
    return value_text(record.value, vocabulary.parameters[record.parameter], vocabulary)


def scope_text(when: Scope, vocabulary: Vocabulary) -> str:
    """Conditions as a reader sees them: ``maxillary, zinc oxide-eugenol paste``; empty for no condition."""
    return ", ".join(
        vocabulary.concepts[concept].label if concept in vocabulary.concepts else concept for _, concept in when
    )


def position_lines(topic: Topic, vocabulary: Vocabulary) -> tuple[str, ...]:
    """The positions of a topic, one line each: value and the claims that take it. Rulings keep these lines."""
    return tuple(sorted(position_line(position, topic.parameter, vocabulary) for position in topic.positions))


def position_line(position: Position, parameter: Parameter, vocabulary: Vocabulary) -> str:
    """One position: its value, and the ids of its claims."""
    text = comparable_text(position.value, parameter, vocabulary)
    return f"{text}: {' '.join(claim.id for claim in position.claims)}"
