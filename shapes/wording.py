"""Values, conditions and positions in the words of a reader."""

import re
from collections.abc import Iterable
from fractions import Fraction

from trayconcord.kb.form_text import value_form
from trayconcord.kb.grammar import range_text, value_text
from trayconcord.kb.model import Claim, Ruling, Scope, Source, comparable
from trayconcord.kb.namespaces import BASE
from trayconcord.kb.store import Store
from trayconcord.kb.values import Comparable, Interval, Quantity, Steps, terminating
from trayconcord.kb.vocabulary import Parameter, Unit, Vocabulary
from trayconcord.shapes.answers import in_case
from trayconcord.shapes.compare import Topic
from trayconcord.shapes.orders import both_ways, merged, orders_of
from trayconcord.shapes.panel import Position
from trayconcord.shapes.plausible import is_plausible


def comparable_text(value: Comparable, parameter: Parameter, vocabulary: Vocabulary) -> str:
    """A comparable value in the parameter's unit; the quantity that none stands for is written so."""
    if isinstance(value, Interval):
        key = (parameter.id, value.low, value.high)
        text = vocabulary.range_texts.get(key)
        if text is None:
            none = parameter.none_means is not None and value.low == value.high == parameter.none_means
            text = vocabulary.range_texts[key] = "none" if none else _quantity_text(value, parameter, vocabulary)
        return text
    return value_text(value, parameter, vocabulary)


def shown_text(
    value: Comparable, claims: Iterable[Claim], parameter: Parameter, vocabulary: Vocabulary, beside: bool = True
) -> str:
    """A value for a page: as `comparable_text` has it, but a number that no source prints, and that conversion left
    with more than three significant digits, is rounded to three, with the value as printed ``beside`` it.

    ``claims`` are those behind the value. Whatever is stored, compared, exported or written as a form stays exact.
    """
    if not isinstance(value, Interval):
        return comparable_text(value, parameter, vocabulary)
    low, high, unit = _in_unit(value, parameter, vocabulary)
    behind = list(claims)
    near_low, near_high = (_rounded(end, unit, behind) for end in (low, high))
    if (near_low, near_high) == (low, high):
        return comparable_text(value, parameter, vocabulary)
    if all(end is None or end >= 1 for end in (value.low, value.high)):  # 2.38 mm rather than 2381 µm
        unit = vocabulary.units[parameter.unit]
        near_low, near_high = (_rounded(end, unit, behind) for end in (value.low, value.high))
    text = f"≈ {_told(near_low, near_high, unit, parameter)}"
    printed = {
        claim.printed
        for claim in behind
        if beside
        and claim.printed
        and claim.value is not None
        and comparable(claim.value, parameter, vocabulary) == value
    }
    return f"{text} ({unit_signs(min(printed, key=lambda words: (len(words), words)))})" if printed else text


def position_text(
    position: Position, parameter: Parameter, vocabulary: Vocabulary, case: Scope, remark: str = "implausible"
) -> str:
    """The value that a position shares, for a page; one that is not plausible has the ``remark``. A set reads as it
    does in the ``case``: without what does not occur there."""
    text = shown_text(in_case(position.value, case, vocabulary), position.claims, parameter, vocabulary)
    return text if is_plausible(position.value, parameter) else f"{text} ({remark})"


def _quantity_text(value: Interval, parameter: Parameter, vocabulary: Vocabulary) -> str:
    low, high, unit = _in_unit(value, parameter, vocabulary)
    return _told(low, high, unit, parameter)


def _in_unit(
    value: Interval, parameter: Parameter, vocabulary: Vocabulary
) -> tuple[Fraction | None, Fraction | None, Unit]:
    """A range in the parameter's unit, or in another of its kind that writes it out in few digits (20 min, not a
    third of an hour)."""
    own = vocabulary.units[parameter.unit]
    others = [unit for unit in vocabulary.units_of(own.kind) if not unit.iri.startswith(BASE)]
    smaller = sorted((unit for unit in others if unit.multiplier < own.multiplier), key=lambda unit: -unit.multiplier)
    for unit in [own, *smaller]:
        factor = own.multiplier / unit.multiplier
        low, high = (None if end is None else end * factor for end in (value.low, value.high))
        if all(end is None or _is_short(end) for end in (low, high)):
            return low, high, unit
    return value.low, value.high, own


def _is_short(number: Fraction) -> bool:
    return (number * 10**4).denominator == 1


DIGITS = 3
"""Significant digits that a converted number keeps on a page."""


def _rounded(end: Fraction | None, unit: Unit, claims: list[Claim]) -> Fraction | None:
    """An end of a range to so many digits as a page shows: all of them where a claim prints it so."""
    if not end:
        return end
    exact = terminating(end)
    if exact is not None and len(exact.lstrip("-0.").replace(".", "").rstrip("0")) <= DIGITS:
        return end
    if exact is not None and any(_prints(claim, exact, unit) for claim in claims):
        return end
    whole = len(str(int(abs(end)))) if abs(end) >= 1 else 0
    places = max(DIGITS - whole, 0)
    while abs(end) * 10 ** (places - DIGITS + 1) < 1:
        places += 1
    return Fraction(round(end * 10**places), 10**places)


def _prints(claim: Claim, number: str, unit: Unit) -> bool:
    """Whether a claim states its value in a unit and with this number, or keeps no printed text."""
    own = isinstance(claim.value, Quantity) and claim.value.unit == unit.id
    return own and (
        not claim.printed or re.search(rf"(?<![\d.]){re.escape(number)}0*(?!\d)", claim.printed) is not None
    )


def _told(low: Fraction | None, high: Fraction | None, unit: Unit, parameter: Parameter) -> str:
    """A range in words, with the unit or as the vocabulary puts it: ``2 mm``, ``1 in 10``, ``100 % of its length``."""
    text = range_text(low, high, unit_signs(unit.symbol))
    if not parameter.reads:
        return text
    low, high = (None if end is None else end * 100 for end in (low, high))
    return parameter.reads.format(value=text, percent=range_text(low, high))


def unit_signs(text: str) -> str:
    """A text with units as a page sets them: cm³ for ``cm3``, 20 °C for ``20 C``, 5° for ``5 deg``."""
    text = re.sub(r"\b([cm]?m)([23])\b", lambda found: found[1] + "²³"[int(found[2]) - 2], text)
    return re.sub(r"(?<=\d) deg\b", "°", re.sub(r"(?<=\d) C\b", " °C", text))


def printed_text(record: Claim | Ruling, vocabulary: Vocabulary) -> str:
    """What a claim or ruling states, for a page: as printed, but for the exponents of units, and read aloud where it
    is a bare number that has to be."""
    parameter = vocabulary.parameters[record.parameter]
    if parameter.reads and record.value is not None:
        return comparable_text(comparable(record.value, parameter, vocabulary), parameter, vocabulary)
    return unit_signs(stated_text(record, vocabulary))


def letter(number: int) -> str:
    """The letter of a position, counted from 0: A, B, … Z, AA, AB, … as lists of capitals count."""
    return (letter(number // 26 - 1) if number >= 26 else "") + chr(ord("A") + number % 26)


def some_of(texts: Iterable[str], most: int) -> str:
    """Some texts in a row, each once; of more than ``most`` the first ones, and how many there are besides."""
    each = list(dict.fromkeys(texts))
    more = len(each) - most
    return "; ".join(each[:most]) + (f"; and {more} more" if more > 0 else "")


def stated_text(record: Claim | Ruling, vocabulary: Vocabulary) -> str:
    """What a claim or ruling states, as it was printed where that is kept."""
    if record.printed:
        return record.printed
    if record.value is None:
        return "(no readable value)"
    return value_text(record.value, vocabulary.parameters[record.parameter], vocabulary)


def ruling_text(ruling: Ruling, vocabulary: Vocabulary) -> str:
    """A ruling with its reason, who decided and when."""
    excuse = f" No source supports it: {ruling.without_source}" if ruling.without_source else ""
    return f"{printed_text(ruling, vocabulary)}: {ruling.because}{excuse} ({ruling.decided_by}, {ruling.decided_on})"


def scope_text(when: Scope, vocabulary: Vocabulary) -> str:
    """Conditions as a reader sees them: ``maxillary, zinc oxide-eugenol paste``; empty for no condition."""
    return ", ".join(
        f"{vocabulary.axes[axis].prefix} {vocabulary.concepts[concept].label}".lstrip() for axis, concept in when
    )


def both_ways_text(topic: Topic, vocabulary: Vocabulary) -> str:
    """The pairs of steps on whose order the voices disagree; empty where there are none."""
    concepts = vocabulary.concepts
    pairs = both_ways(orders_of(topic.claims), vocabulary)
    return "; ".join(f"{concepts[one].label} / {concepts[other].label}" for one, other in pairs)


def merged_text(topic: Topic, vocabulary: Vocabulary) -> str:
    """One order of all the steps that the voices name, keeping what can be kept of what each says."""
    return value_text(Steps(merged(orders_of(topic.claims), vocabulary)), topic.parameter, vocabulary)


def name_of(sources: dict[str, Source], source: str) -> str:
    """A source as it is cited in running text: the first author and the year, or its title."""
    record = sources.get(source)
    if record is None:
        return source or "an unnamed source"
    if record.kind == "common-practice":
        return "Common practice"
    if record.authors:
        family = record.authors[0].split(",")[0]
        others = " et al." if len(record.authors) > 2 else ""
        second = f" and {record.authors[1].split(',')[0]}" if len(record.authors) == 2 else ""
        if len(family + second) > 60:  # two bodies with long names
            others, second = " et al.", ""
        return f"{family}{second}{others}" + (f" {record.year}" if record.year else "")
    title = record.title if len(record.title) <= 60 else record.title[:57].rsplit(" ", 1)[0] + " …"
    return f"“{title}”" + (f" {record.year}" if record.year else "")


def citation(record: Claim | Ruling, store: Store) -> str:
    """A claim by source and place, or a ruling by who decided it and when."""
    if isinstance(record, Ruling):
        return ", ".join(part for part in ("course ruling", record.decided_by, record.decided_on) if part)
    name = name_of(store.sources, record.source)
    reported = f", reported in {name_of(store.sources, record.reported_by)}" if record.reported_by else ""
    return f"{name}{f', {record.at}' if record.at else ''}{reported}"


def lookups(topic: Topic, store: Store) -> str:
    """For a contest that a missing condition may explain: what to look up, in which source."""
    axes = store.vocabulary.axes
    asked: dict[str, list[str]] = {}
    for axis in topic.parameter.depends_on:
        silent = [claim for claim in topic.claims if axis not in dict(claim.when)]
        if 0 < len(silent) < len(topic.claims):
            for claim in silent:
                work = name_of(store.sources, claim.reported_by or claim.source)
                place = f"{work}{f', {claim.at}' if claim.at else ''}"
                questions = asked.setdefault(place, [])
                if axes[axis].question not in questions:
                    questions.append(axes[axis].question)
    return "; ".join(f"{place}: {' '.join(questions)}" for place, questions in sorted(asked.items()))


def position_lines(topic: Topic, vocabulary: Vocabulary) -> tuple[str, ...]:
    """The positions of a topic, one line each: value and the claims that take it. Rulings keep these lines, so the
    values are in the notation of forms, which does not change with the labels of the vocabulary."""
    return tuple(sorted(position_line(position, topic.parameter, vocabulary) for position in topic.positions))


def changes_since(then: tuple[str, ...], now: tuple[str, ...]) -> list[str]:
    """What differs between two sets of position lines, in words: claims added and withdrawn, positions then and now."""
    if set(then) == set(now):
        return []
    before, after = ({claim for line in lines for claim in _claims_in(line)} for lines in (then, now))
    told = [f"{claim} was added" for claim in sorted(after - before)]
    told += [f"{claim} was withdrawn" for claim in sorted(before - after)]
    values = [" | ".join(sorted(line.rpartition(": ")[0] for line in lines)) or "none" for lines in (then, now)]
    if values[0] != values[1] or not told:
        told.append(f"positions then {values[0]}, now {values[1]}")
    return told


def _claims_in(line: str) -> list[str]:
    return line.rpartition(": ")[2].split()


def position_line(position: Position, parameter: Parameter, vocabulary: Vocabulary) -> str:
    """One position: its value, and the ids of its claims."""
    text = value_form(position.value, parameter, vocabulary)
    return f"{text}: {' '.join(claim.id for claim in position.claims)}"
