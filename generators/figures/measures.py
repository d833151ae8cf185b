"""Measures: what a figure draws for a quantity, and the words that go with it."""

from dataclasses import dataclass
from fractions import Fraction

from trayconcord.kb.model import Claim, Scope, comparable
from trayconcord.kb.values import Comparable, Interval
from trayconcord.shapes.compare import Comparison, Topic
from trayconcord.shapes.plausible import is_plausible
from trayconcord.shapes.wording import shown_text


@dataclass(frozen=True)
class Measure:
    """A quantity as a figure draws it, in its parameter's unit.

    ``standing`` is `ruled` or the topic's own. ``low`` and ``high`` are the ends of what is drawn: of the governing
    value or, where the sources differ, the smallest and the largest value stated; None where nothing can be drawn.
    """

    topic: Topic
    standing: str
    low: Fraction | None
    high: Fraction | None
    short: str
    """The label in the figure."""
    told: str
    """The same in the key, with what has to be said about it."""
    count: int
    """How many different values there are."""

    @property
    def drawn(self) -> bool:
        """Whether there is a length to draw."""
        return self.low is not None

    @property
    def differs(self) -> bool:
        """Whether a zone has to be drawn instead of one value."""
        return self.count > 1 and self.low != self.high

    @property
    def middle(self) -> Fraction:
        """The one length that stands for a range that is agreed or adopted. Raises `ValueError` where none is drawn."""
        if self.low is None or self.high is None:
            raise ValueError(f"{self.topic.id} has nothing to draw")
        return (self.low + self.high) / 2

    @property
    def near(self) -> Fraction:
        """The length at which a part is drawn: the smallest where sources differ, else the value."""
        return self.low if self.differs and self.low is not None else self.middle

    @property
    def reach(self) -> Fraction:
        """The largest length that is drawn: of a zone its far end, else the value."""
        return self.high if self.differs and self.high is not None else self.middle


def measure(comparison: Comparison, parameter: str, when: Scope) -> Measure:
    """What a figure draws for a parameter in a case: ruling, what all share, one voice, or the span of a contest.

    Values outside the plausible range are told, and left out of the drawing and of its span.
    """
    topic = comparison.at(parameter, when)
    vocabulary = comparison.vocabulary
    stated: list[tuple[Comparable, tuple[Claim, ...]]]
    if topic.ruling and topic.ruling.value is not None:
        stated = [(comparable(topic.ruling.value, topic.parameter, vocabulary), ())]
        standing = "ruled"
    else:
        stated = [(position.value, position.claims) for position in topic.positions]
        standing = "tied" if topic.tied else topic.standing
    plausible = [value for value, _ in stated if isinstance(value, Interval) and is_plausible(value, topic.parameter)]
    ends = [end for value in plausible for end in (value.low, value.high) if end is not None]
    low, high = (min(ends), max(ends)) if ends else (None, None)
    texts = [shown_text(value, claims, topic.parameter, vocabulary) for value, claims in stated if value in plausible]
    outside = [
        shown_text(value, claims, topic.parameter, vocabulary) for value, claims in stated if value not in plausible
    ]
    label = plausible[0] if len(plausible) == 1 else Interval(low, high)
    short = shown_text(label, topic.claims, topic.parameter, vocabulary, beside=False) if plausible else ""
    words = told(standing, texts) if texts or not outside else ""
    if outside:
        left_out = f"{'; '.join(outside)}: outside the plausible range, not drawn"
        words = f"{words}; {left_out}" if words else left_out
    return Measure(topic, standing, low, high, short, words, len(texts))


def told(standing: str, texts: list[str]) -> str:
    """Values with what has to be said about them: who adopts them, or that the sources differ."""
    match standing:
        case "silent":
            return "no source gives this"
        case "contested":
            return f"sources differ: {'; '.join(texts)}"
        case "tied":
            return f"the course has ruled more than one way; sources say: {'; '.join(texts) or 'nothing'}"
        case "single":
            return f"{' or '.join(texts)} (one source only)"
        case "ruled":
            return f"{texts[0]} (the course’s decision)"
    return texts[0]
