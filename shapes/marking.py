"""Marking: the trays of one case held against what governs it, item by item, with a score by the course's policy.

What no value governs (contested, one voice only, open) is not marked against anything. The weight of an item of the
policy is shared equally by the sites where it is looked at; without a policy every parameter weighs the same, and
nothing beyond the governing value is tolerated.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from trayconcord.kb.errors import unusable
from trayconcord.kb.marking import SITE_AXIS, ZERO, MarkingItem, MarkingPolicy
from trayconcord.kb.measured_file import AT_SITES, Measurement, Tray
from trayconcord.kb.model import Scope, in_order
from trayconcord.kb.store import Store
from trayconcord.kb.values import Comparable
from trayconcord.kb.vocabulary import Parameter, Vocabulary
from trayconcord.shapes.answers import Casebook, basis_of, contradictions, governing_value, in_case
from trayconcord.shapes.compare import Comparison, Topic
from trayconcord.shapes.judgement import (
    BORDERLINE,
    NOT_MARKED,
    NOT_MEASURED,
    OUTSIDE,
    WITHIN,
    Judgement,
    judge,
    widened,
)
from trayconcord.shapes.scopes import covers


@dataclass(frozen=True, slots=True)
class Criterion:
    """What an item is held against: a parameter, at a site or (empty) on the tray as a whole.

    ``basis`` is that of the answer ("ruling", "agreement", "one voice", "contested", "open", "tied rulings"); without
    a governing ``value`` nothing is ``allowed`` and nothing marked. ``item`` is what the policy says of it.
    """

    parameter: Parameter
    site: str
    topic: Topic
    basis: str
    value: Comparable | None
    allowed: Comparable | None
    item: MarkingItem | None


@dataclass(frozen=True, slots=True)
class Mark:
    """One item of a tray: the criterion, what was measured, the judgement, its share of the weight, and its credit.

    ``credit`` is 1, the policy's borderline credit or 0; None where nothing was judged. ``uncertainty`` is the one that
    counted, and comes ``uncertainty_from`` the "measurement", its "instrument", the "file", the "policy" or "" (none).
    """

    criterion: Criterion
    measurement: Measurement | None
    judgement: Judgement
    weight: Fraction
    credit: Fraction | None
    uncertainty: Fraction | None = None
    uncertainty_from: str = ""

    @property
    def verdict(self) -> str:
        """One of the `VERDICTS` of `judgement`."""
        return self.judgement.verdict


@dataclass(frozen=True, slots=True)
class Score:
    """The parts of one that a tray earned: of the weight that was measured, and of the weight of all items.

    ``counted`` is the one of the two that the policy counts; ``least`` and ``most`` are what it would be if every
    borderline item earned nothing or all. None where there is no weight to share.
    """

    measured: Fraction | None
    overall: Fraction | None
    counted: Fraction | None
    least: Fraction | None
    most: Fraction | None


@dataclass(frozen=True, slots=True)
class TrayMarks:
    """The marks of one tray. ``passed`` is None without a pass mark; ``depends`` says that the borderline items decide
    whether it is reached."""

    tray: Tray
    marks: tuple[Mark, ...]
    score: Score
    passed: bool | None
    depends: bool


@dataclass(frozen=True, slots=True)
class Marks:
    """The marks of all trays of a case, and the criteria that every tray was to be held against."""

    case: Scope
    policy: MarkingPolicy | None
    criteria: tuple[Criterion, ...]
    trays: tuple[TrayMarks, ...]


def mark(store: Store, comparison: Comparison, case: Scope, trays: Iterable[Tray]) -> Marks:
    """Mark trays that were made for one case. Raises `UnusableInput` where two items of the policy tie."""
    marker = _Marker(store, comparison, case)
    return Marks(case, store.marking, marker.criteria, tuple(marker.tray(tray) for tray in trays))


def sites_of(case: Scope, vocabulary: Vocabulary) -> list[str]:
    """The places that a tray of a case has: no retromolar pad on a maxillary one."""
    places = vocabulary.in_scheme(vocabulary.axes[SITE_AXIS].scheme)
    return [place.id for place in places if not contradictions(_at(case, place.id, vocabulary), vocabulary)]


def _at(case: Scope, site: str, vocabulary: Vocabulary) -> Scope:
    return in_order(dict(case) | {SITE_AXIS: site}, vocabulary) if site else case


# --- one case --------------------------------------------------------------------------------------------------------


class _Marker:
    """Marks the trays of one case."""

    def __init__(self, store: Store, comparison: Comparison, case: Scope) -> None:
        self.vocabulary, self.comparison, self.case = store.vocabulary, comparison, case
        self.policy = store.marking
        self.casebook = Casebook(store, comparison)
        self.known: dict[tuple[str, str], Criterion] = {}
        places = self._policy_places() if self.policy else self._stated_places()
        self.criteria = tuple(self.criterion(parameter, site) for parameter, site in sorted(places, key=self._order))

    def _order(self, place: tuple[str, str]) -> tuple[int, int, str]:
        parameter, site = place
        concepts = self.vocabulary.concepts
        return self.vocabulary.parameters[parameter].order, concepts[site].order if site else -1, site

    def _policy_places(self) -> set[tuple[str, str]]:
        """Where the policy looks: at the sites of its items, as far as they fit the case."""
        assert self.policy is not None
        here = set(sites_of(self.case, self.vocabulary))
        places = set()
        for item in self.policy.items:
            if item.troubles:
                continue
            sites = item.sites or (dict(item.when).get(SITE_AXIS, ""),)
            for site in sites:
                scope = _at(self.case, site, self.vocabulary)
                if (not site or site in here) and covers(item.when, scope, self.vocabulary):
                    places.add((item.parameter, site))
        return places

    def _stated_places(self) -> set[tuple[str, str]]:
        """Without a policy: what can be seen on a tray and somebody speaks of, site by site where that differs."""
        places = set()
        for parameter in self.casebook.planned():
            if not parameter.on_tray:
                continue
            answers = self.casebook.answer(parameter, self.case)
            for answer in answers:
                own = {axis: concept for axis, concept in answer.topic.when if axis not in dict(self.case)}
                if set(own) <= {SITE_AXIS}:
                    places.add((parameter.id, own.get(SITE_AXIS, "")))
        whole = {parameter: self.criterion(parameter, "").value for parameter, site in places if not site}
        return {(p, s) for p, s in places if not s or p not in whole or self.criterion(p, s).value != whole[p]}

    def criterion(self, parameter: str, site: str) -> Criterion:
        """What holds for a parameter at a site of this case."""
        found = self.known.get((parameter, site))
        if found is None:
            scope = _at(self.case, site, self.vocabulary)
            topic = self.comparison.at(parameter, scope)
            value = governing_value(topic, self.vocabulary)
            value = None if value is None else in_case(value, scope, self.vocabulary)
            item = self._item(parameter, scope)
            allowed = None if value is None else widened(value, item)
            found = Criterion(self.vocabulary.parameters[parameter], site, topic, basis_of(topic), value, allowed, item)
            self.known[parameter, site] = found
        return found

    def _item(self, parameter: str, scope: Scope) -> MarkingItem | None:
        """The most specific item of the policy that covers a scope."""
        items = self.policy.items if self.policy else ()
        over = [
            item
            for item in items
            if item.parameter == parameter and not item.troubles and covers(item.when, scope, self.vocabulary)
        ]
        best = [
            item
            for item in over
            if not any(other.when != item.when and covers(item.when, other.when, self.vocabulary) for other in over)
        ]
        if len(best) > 1:
            names = " and ".join(item.id for item in best)
            raise unusable("marking policy", f"{names} fit this case equally well", "enter an item for both together")
        return best[0] if best else None

    # --- one tray ----------------------------------------------------------------------------------------------------

    def tray(self, tray: Tray) -> TrayMarks:
        """The marks of one tray."""
        measured = {(one.parameter, one.site): one for one in tray.measurements}
        at_sites = {parameter for parameter, site in measured if site}
        places = set(measured)
        for criterion in self.criteria:
            place = criterion.parameter.id, criterion.site
            replaced = not criterion.site and criterion.parameter.on_tray == AT_SITES and place[0] in at_sites
            if not replaced:
                places.add(place)
        criteria = [self.criterion(*place) for place in sorted(places, key=self._order)]
        sharing: dict[str, int] = {}
        for criterion in criteria:
            if criterion.value is not None:
                sharing[_group(criterion)] = sharing.get(_group(criterion), 0) + 1
        marks = tuple(
            self._mark(criterion, measured.get((criterion.parameter.id, criterion.site)), sharing)
            for criterion in criteria
        )
        score = self._score(marks)
        limit = self.policy.pass_mark if self.policy else None
        if limit is None or score.counted is None or score.least is None or score.most is None:
            return TrayMarks(tray, marks, score, None, False)
        return TrayMarks(tray, marks, score, score.counted >= limit, score.least < limit <= score.most)

    def _mark(self, criterion: Criterion, measurement: Measurement | None, sharing: dict[str, int]) -> Mark:
        if criterion.allowed is None:
            return Mark(criterion, measurement, Judgement(NOT_MARKED), Fraction(0), None)
        item = criterion.item
        whole = item.weight if item else Fraction(0 if self.policy else 1)
        weight = whole / sharing[_group(criterion)]
        if measurement is None:
            return Mark(criterion, None, Judgement(NOT_MEASURED), weight, None)
        uncertainty, origin = measurement.uncertainty, measurement.uncertainty_from
        if uncertainty is None and item is not None and item.uncertainty is not None:
            uncertainty, origin = item.uncertainty, "policy"
        judgement = judge(
            measurement.value, uncertainty or Fraction(0), measurement.unsure, criterion.allowed, self.vocabulary
        )
        credits = {WITHIN: Fraction(1), BORDERLINE: self._borderline(item), OUTSIDE: Fraction(0)}
        return Mark(criterion, measurement, judgement, weight, credits[judgement.verdict], uncertainty, origin)

    def _borderline(self, item: MarkingItem | None) -> Fraction:
        if item is not None and item.borderline is not None:
            return item.borderline
        return (self.policy or MarkingPolicy()).borderline

    def _score(self, marks: tuple[Mark, ...]) -> Score:
        judged = [mark for mark in marks if mark.credit is not None]
        earned = sum((mark.weight * mark.credit for mark in judged if mark.credit is not None), Fraction(0))
        sure = sum((mark.weight for mark in judged if mark.verdict == WITHIN), Fraction(0))
        doubtful = sum((mark.weight for mark in judged if mark.verdict == BORDERLINE), Fraction(0))
        measured = sum((mark.weight for mark in judged), Fraction(0))
        everything = measured + sum((mark.weight for mark in marks if mark.verdict == NOT_MEASURED), Fraction(0))
        counts = everything if self.policy and self.policy.unmeasured == ZERO else measured
        return Score(
            _part(earned, measured),
            _part(earned, everything),
            _part(earned, counts),
            _part(sure, counts),
            _part(sure + doubtful, counts),
        )


def _group(criterion: Criterion) -> str:
    """The items that share one weight: those of one item of the policy, or of one parameter without it."""
    return criterion.item.id if criterion.item else criterion.parameter.id


def _part(earned: Fraction, whole: Fraction) -> Fraction | None:
    return earned / whole if whole else None
