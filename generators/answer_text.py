"""Answers in words: as everywhere, but in the vocabulary's own words where a number without a unit says too little."""

from trayconcord.kb.grammar import range_text
from trayconcord.kb.model import Claim, Ruling, comparable
from trayconcord.kb.values import Comparable, Interval
from trayconcord.kb.vocabulary import Parameter, Vocabulary
from trayconcord.shapes.wording import comparable_text, stated_text


def answer_text(value: Comparable, parameter: Parameter, vocabulary: Vocabulary) -> str:
    """A value as an answer: ``1 in 10``, ``100 % of its length``, ``2 mm``."""
    if not (parameter.reads and isinstance(value, Interval)):
        return comparable_text(value, parameter, vocabulary)
    low, high = (None if end is None else end * 100 for end in (value.low, value.high))
    number = comparable_text(value, parameter, vocabulary)
    return parameter.reads.format(value=number, percent=range_text(low, high))


def record_text(record: Claim | Ruling, parameter: Parameter, vocabulary: Vocabulary) -> str:
    """What a record states, as it was printed, or in the vocabulary's own words where these are needed."""
    if not parameter.reads or record.value is None:
        return stated_text(record, vocabulary)
    return answer_text(comparable(record.value, parameter, vocabulary), parameter, vocabulary)
