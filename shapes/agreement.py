"""Agreement between voices, question by question and chapter by chapter.

Two figures, each only where it means something. *Pairs*: of all pairs of statements by different voices that speak of a
common case, how many can both be right; this holds for ranges and sets too. *Alpha*: Krippendorff's alpha for nominal
data (Krippendorff 2004, Content Analysis, chapter 11), for questions answered by one term or by yes or no; it is
never computed for quantities, since a recommended range is not a measurement.
"""

from collections import Counter
from collections.abc import Hashable, Iterable
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations

from trayconcord.kb.values import Choice, YesNo
from trayconcord.kb.vocabulary import Parameter, Term
from trayconcord.shapes.compare import Comparison, Topic


@dataclass(frozen=True, slots=True)
class Agreement:
    """Agreement on a question or in a chapter. ``alpha`` is None where it is not defined."""

    about: Term
    pairs: int
    compatible: int
    alpha: Fraction | None
    cases: int

    @property
    def share(self) -> Fraction | None:
        """The share of pairs that can both be right; None without pairs."""
        return Fraction(self.compatible, self.pairs) if self.pairs else None


def agreement(comparison: Comparison) -> list[tuple[Agreement, list[Agreement]]]:
    """Chapters, each with its questions; those on which fewer than two voices meet are left out."""
    topics: dict[str, list[Topic]] = {}
    for topic in comparison.topics:
        topics.setdefault(topic.parameter.id, []).append(topic)
    vocabulary = comparison.vocabulary
    result = []
    for chapter in vocabulary.chapters.values():
        parameters = [p for p in vocabulary.parameters.values() if p.chapter == chapter.id and p.id in topics]
        tallies = [_tally(parameter, topics[parameter.id], comparison) for parameter in parameters]
        tallies = [tally for tally in tallies if tally.pairs]
        if tallies:
            observed = sum((t.observed for t in tallies), Fraction(0))
            expected = sum((t.expected for t in tallies), Fraction(0))
            whole = Agreement(
                chapter,
                sum(tally.pairs for tally in tallies),
                sum(tally.compatible for tally in tallies),
                _alpha(observed, expected, sum(tally.cases for tally in tallies)),
                sum(tally.cases for tally in tallies),
            )
            result.append((whole, [tally.agreement() for tally in tallies]))
    return result


@dataclass(frozen=True, slots=True)
class _Tally:
    """The counts of one question; observed and expected disagreement are sums over its pairable answers, so that
    a chapter's alpha weighs each question against what chance would give on that question."""

    parameter: Parameter
    pairs: int
    compatible: int
    cases: int
    observed: Fraction
    expected: Fraction

    def agreement(self) -> Agreement:
        alpha = _alpha(self.observed, self.expected, self.cases)
        return Agreement(self.parameter, self.pairs, self.compatible, alpha, self.cases)


def _alpha(observed: Fraction, expected: Fraction, cases: int) -> Fraction | None:
    """A single case says nothing of agreement beyond chance."""
    return krippendorff_alpha(observed, expected) if cases > 1 else None


def _tally(parameter: Parameter, topics: list[Topic], comparison: Comparison) -> _Tally:
    pairs: set[frozenset[str]] = set()
    together: set[frozenset[str]] = set()
    voice = comparison.voices.voice
    for topic in topics:
        for one, other in combinations(topic.claims, 2):
            if voice(one.source) != voice(other.source):
                pairs.add(frozenset((one.id, other.id)))
        for position in topic.positions:
            together |= {frozenset((one.id, other.id)) for one, other in combinations(position.claims, 2)}
    units = _units(topics) if parameter.kind in ("choice", "yes-no") else []
    observed, expected = disagreement(units)
    return _Tally(parameter, len(pairs), len(pairs & together), len(units), observed, expected)


def _units(topics: list[Topic]) -> list[list[Hashable]]:
    """The answers case by case. A case whose answers all stand in another one too is left to that one."""
    heard = [(topic, {claim.id for claim in topic.claims}) for topic in topics if len(topic.voices) > 1]
    units: list[list[Hashable]] = []
    for topic, ids in heard:
        if any(ids < others for _, others in heard):
            continue
        answers = [claim.value for claim in topic.claims if isinstance(claim.value, Choice | YesNo)]
        units.append(list(answers))
    return units


def krippendorff_alpha(observed: Fraction, expected: Fraction) -> Fraction | None:
    """Krippendorff's alpha for nominal data, exactly, from the sums of `disagreement`; None where it is not defined.

    >>> krippendorff_alpha(*disagreement([["a", "a"], ["b", "b"]]))
    Fraction(1, 1)
    """
    return 1 - observed / expected if expected else None


def disagreement(units: Iterable[list[Hashable]]) -> tuple[Fraction, Fraction]:
    """Observed and expected disagreement, both as sums over pairable values. A unit is the list of the values that the
    observers gave it, less those who gave none; one with a single value does not count."""
    pairable = [unit for unit in units if len(unit) > 1]
    totals = Counter(value for unit in pairable for value in unit)
    n = sum(totals.values())
    observed = Fraction(0)
    for unit in pairable:
        counts = Counter(unit)
        observed += Fraction(len(unit) ** 2 - sum(count * count for count in counts.values()), len(unit) - 1)
    expected = Fraction(n * n - sum(count * count for count in totals.values()), n - 1) if n > 1 else Fraction(0)
    return observed, expected
