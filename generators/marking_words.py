"""Marks in the words of whoever reads them: the item, what was found, what is allowed, and what is off."""

from fractions import Fraction

from trayconcord.generators.plan_output import reason_line
from trayconcord.kb.grammar import range_text
from trayconcord.kb.marking import ZERO, MarkingPolicy
from trayconcord.kb.marking_form import number_text
from trayconcord.kb.store import Store
from trayconcord.kb.values import Interval, decimal_text
from trayconcord.kb.vocabulary import Parameter, Vocabulary
from trayconcord.shapes.answers import Answer
from trayconcord.shapes.judgement import BORDERLINE, NOT_MARKED, NOT_MEASURED
from trayconcord.shapes.marking import Criterion, Mark, Marks, Score, TrayMarks
from trayconcord.shapes.wording import comparable_text, position_text, shown_text, unit_signs

SUPPORT = "Marks support the examiner’s judgement and do not replace it: look at the tray before you sign."
RULE = (
    "Within: the measurement with its uncertainty lies inside the limits. "
    "Outside: it lies wholly beyond one. Borderline: the uncertainty reaches across a limit."
)


def item_label(criterion: Criterion, vocabulary: Vocabulary) -> str:
    """What is looked at, and where: ``border clearance, labial sulcus``."""
    site = f", {vocabulary.concepts[criterion.site].label}" if criterion.site else ""
    return f"{criterion.parameter.label}{site}"


def quantity_text(number: Fraction, parameter: Parameter, vocabulary: Vocabulary) -> str:
    """A number in the parameter's unit."""
    return range_text(number, number, vocabulary.units[parameter.unit].symbol)


def governing_text(criterion: Criterion, vocabulary: Vocabulary) -> str:
    """The value that governs, as a page shows it."""
    assert criterion.value is not None
    return shown_text(criterion.value, criterion.topic.claims, criterion.parameter, vocabulary)


def allowed_text(criterion: Criterion, vocabulary: Vocabulary) -> str:
    """The limits with their tolerance; a lower one beneath what is possible is told as the least possible.

    They are exact, however many decimals a conversion left: whoever is marked by them has to see which side of a limit
    a measurement lies on.
    """
    allowed, parameter = criterion.allowed, criterion.parameter
    if allowed is None:
        return ""
    if isinstance(allowed, Interval) and parameter.plausible is not None and allowed.low is not None:
        allowed = Interval(max(allowed.low, min(parameter.plausible[0], allowed.high or allowed.low)), allowed.high)
    return comparable_text(allowed, parameter, vocabulary)


def found_text(mark: Mark, vocabulary: Vocabulary) -> str:
    """What was found, with its uncertainty."""
    found, parameter = mark.measurement, mark.criterion.parameter
    if found is None:
        return "not measured"
    text = unit_signs(found.printed) or comparable_text(found.value, parameter, vocabulary)
    if mark.uncertainty is not None:
        text += f" ± {quantity_text(mark.uncertainty, parameter, vocabulary)}"
    return text + (" (unsure)" if found.unsure else "")


def off_text(mark: Mark, vocabulary: Vocabulary) -> str:
    """What is wrong and by how much; empty where nothing is beyond a limit."""
    told, concepts = mark.judgement, vocabulary.concepts
    parts = []
    if told.off:
        few, many = ("too few", "too many") if mark.criterion.parameter.kind == "count" else ("too little", "too much")
        side = few if told.off < 0 else many
        doubt = ", no more than its uncertainty" if mark.verdict == BORDERLINE else ""
        parts.append(f"{quantity_text(abs(told.off), mark.criterion.parameter, vocabulary)} {side}{doubt}")
    elif mark.verdict == BORDERLINE and isinstance(mark.criterion.allowed, Interval):
        parts.append("its uncertainty reaches across a limit")
    for word, members in (("missing", told.missing), ("too many", told.extra)):
        if members:
            parts.append(f"{word}: {', '.join(concepts[member].label for member in members)}")
    parts += [f"other way round: {concepts[one].label} and {concepts[other].label}" for one, other in told.turned]
    return "; ".join(parts)


def basis_text(criterion: Criterion, store: Store) -> str:
    """Which ruling or which sources say so."""
    return reason_line(Answer(criterion.topic, criterion.basis, ()), store)


def no_rule_text(criterion: Criterion, store: Store) -> str:
    """Why nothing is marked, with the positions."""
    positions = " | ".join(
        position_text(position, criterion.parameter, store.vocabulary, criterion.topic.when)
        for position in criterion.topic.positions
    )
    reason = {"open": "no source covers the case"}.get(criterion.basis, criterion.basis)
    return f"{reason}{f': {positions}' if positions else ''}"


def policy_text(policy: MarkingPolicy | None) -> str:
    """How the marks were given, in a sentence or two."""
    if policy is None:
        return (
            "The store holds no marking policy: nothing beyond the governing value is tolerated, every parameter "
            "weighs the same, a borderline item earns 1/2, and what was not measured is left out of the score."
        )
    by = ", ".join(part for part in (policy.decided_by, policy.decided_on) if part)
    credit = number_text(policy.borderline) + (" (or the part that its item names)" if _names_its_own(policy) else "")
    unmeasured = "counts as nothing" if policy.unmeasured == ZERO else "is left out of the score"
    return (
        f"Marking policy of the course{f' ({by})' if by else ''}: a borderline item earns {credit} of its weight, "
        f"and what was not measured {unmeasured}."
    )


def _names_its_own(policy: MarkingPolicy) -> bool:
    """Whether an item of the policy has a borderline credit of its own."""
    return any(item.borderline is not None for item in policy.items)


def percent(part: Fraction | None, limit: Fraction | None = None) -> str:
    """A part of one in per cent, with so many decimals that it falls on its own side of a limit."""
    if part is None:
        return "nothing to count"
    rounded = part
    for places in range(1, 7):
        rounded = Fraction(round(part * 100 * 10**places), 10**places)
        if limit is None or (rounded >= limit * 100) == (part >= limit):
            break
    return f"{decimal_text(rounded)} %"


def limit_of(marks: Marks) -> Fraction | None:
    """The pass mark of the course, if it has one."""
    return marks.policy.pass_mark if marks.policy else None


def score_text(score: Score, limit: Fraction | None) -> str:
    """The score that counts, how far borderline items move it, and what it is of; the other score beside it."""
    text = percent(score.counted, limit)
    if score.measured != score.overall:
        kinds = [("of what was measured", score.measured), ("of everything", score.overall)]
        if score.counted != score.measured:
            kinds.reverse()
        text += f" {kinds[0][0]}, {percent(kinds[1][1])} {kinds[1][0]}"
    if score.least != score.most:
        text += f" ({percent(score.least, limit)} to {percent(score.most, limit)} as the borderline items go)"
    return text


def pass_text(tray: TrayMarks, limit: Fraction | None) -> str:
    """Whether the pass mark is reached; empty without one."""
    if limit is None or tray.passed is None:
        return ""
    text = f"pass mark {percent(limit)}: {'reached' if tray.passed else 'not reached'}"
    if tray.depends:
        text += ", and the borderline items decide it: measure them again"
    missing = sum((mark.weight for mark in tray.marks if mark.verdict == NOT_MEASURED), Fraction(0))
    weight = sum((mark.weight for mark in tray.marks if mark.verdict != NOT_MARKED), Fraction(0))
    if tray.score.overall is not None and missing:
        most = tray.score.overall + missing / weight
        if tray.score.overall < limit <= most:
            span = f"{percent(tray.score.overall, limit)} to {percent(most, limit)}"
            text += f"; what was not measured decides it ({span} of everything): measure it"
    return text
