"""What lies outside the plausible range of its parameter: read so in the source, but hardly meant."""

from trayconcord.kb.values import Comparable, Interval
from trayconcord.kb.vocabulary import Parameter


def is_plausible(value: Comparable, parameter: Parameter) -> bool:
    """Whether every stated end of a quantity lies in the range that the vocabulary gives; anything else is."""
    if not isinstance(value, Interval) or parameter.plausible is None:
        return True
    least, most = parameter.plausible
    return all(least <= end <= most for end in (value.low, value.high) if end is not None)
