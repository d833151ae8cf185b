"""Plans as text and as JSON, every value with its reason and citations; and how one answer comes about."""

from typing import Any

from trayconcord.generators.plan import Plan
from trayconcord.generators.quantities import derived
from trayconcord.generators.value_json import dump, scope_json, value_json
from trayconcord.kb.model import Claim, Scope
from trayconcord.kb.store import Store
from trayconcord.kb.vocabulary import Parameter, Vocabulary
from trayconcord.shapes.answers import Answer, Why, governing_value
from trayconcord.shapes.wording import (
    citation,
    name_of,
    position_text,
    printed_text,
    ruling_text,
    scope_text,
    some_of,
    stated_text,
)

MOST_NAMES = 4
"""Sources that a line of a plan names before it counts the rest."""


# --- text ------------------------------------------------------------------------------------------------------------


def text_plan(made: Plan) -> str:
    """The plan as text: what the case leaves open first, then chapter by chapter."""
    vocabulary = made.store.vocabulary
    lines = [f"{made.case.label or 'Plan'}: {scope_text(made.case.when, vocabulary) or 'any tray'}"]
    if made.found.questions:
        lines += ["", "This case leaves open"]
        for question in made.found.questions:
            choices = ", ".join(vocabulary.concepts[concept].label for concept in question.choices)
            waiting = ", ".join(vocabulary.parameters[parameter].label for parameter in question.parameters)
            lines += [f"  {vocabulary.axes[question.axis].question} {choices}", f"      decides: {waiting}"]
    chapter = ""
    for answer in made.found.answers:
        if answer.parameter.chapter != chapter:
            chapter = answer.parameter.chapter
            lines += ["", vocabulary.chapters[chapter].label]
        lines += answer_lines(answer, made)
    lines += ["", "what follows"]
    for quantity in derived(made):
        lines.append(f"  {quantity.label}: {quantity.text or 'not computed, ' + quantity.missing}")
        inputs = "; ".join(f"{found.label} {found.text} ({found.basis})" for found in quantity.inputs)
        lines += [f"      from {inputs}"] if inputs else []
    for heading, parameters in (
        ("Sources speak of these for other cases only", made.found.elsewhere),
        ("No source in the store speaks of", made.found.silent),
    ):
        if parameters:
            lines += ["", f"{heading}: {', '.join(parameter.label for parameter in parameters)}"]
    return "\n".join(lines)


def answer_lines(answer: Answer, made: Plan) -> list[str]:
    """An answer: the value, then its reason and citations; or the positions; or what must be known first."""
    vocabulary, topic = made.store.vocabulary, answer.topic
    own = scope_text(tuple(c for c in topic.when if c not in made.case.when), vocabulary)
    about = f"{answer.parameter.label}{f' ({own})' if own else ''}"
    waits = ", ".join(vocabulary.axes[axis].label for axis in answer.asks)
    if answer.basis == "open":
        return [f"  {about}: open until the case says {waits}"]
    lines = [f"  {about}: {value_line(answer, vocabulary)}", f"      {reason_line(answer, made.store)}"]
    if answer.basis in ("contested", "tied rulings"):
        for position in topic.positions:
            value = position_text(position, answer.parameter, vocabulary, topic.when)
            lines.append(f"      - {value}: {_cited(position.claims, made.store)}")
    if waits:
        lines.append(f"      may change once the case says {waits}")
    return lines


def value_line(answer: Answer, vocabulary: Vocabulary) -> str:
    """The value that governs, with what it says nothing without; where none does, what is said instead."""
    topic = answer.topic
    if topic.ruling:
        return printed_text(topic.ruling, vocabulary)
    texts = [position_text(position, answer.parameter, vocabulary, topic.when) for position in topic.positions]
    if answer.basis in ("contested", "tied rulings"):
        return answer.basis
    text = " or ".join(texts) if answer.basis == "one voice" else texts[0]
    beside = answer.parameter.needs_beside
    return f"{text} (says nothing without {beside}: look it up in the source)" if beside else text


def reason_line(answer: Answer, store: Store) -> str:
    """Why the value holds, in one line, with citations."""
    topic = answer.topic
    if topic.ruling:
        return f"the course: {ruling_text(topic.ruling, store.vocabulary).partition(': ')[2]}"
    if answer.basis == "tied rulings":
        return f"the course has ruled more than one way: {', '.join(ruling.id for ruling in topic.rulings)}"
    voices = f"{len(topic.voices)} voices"
    if answer.basis == "contested":
        soft = "" if topic.firm else ", some of which do not say which case they mean"
        return f"{voices} cannot all be right{soft}"
    if answer.basis == "one voice":
        return f"one voice only: {_cited(topic.claims, store)}"
    return f"{voices} agree: {_cited(topic.claims, store)}"


def _cited(claims: tuple[Claim, ...], store: Store) -> str:
    return some_of((citation(claim, store) for claim in claims), MOST_NAMES)


# --- JSON ------------------------------------------------------------------------------------------------------------


def json_plan(made: Plan) -> str:
    """The plan as JSON. A value stands only where the course has ruled or the voices agree."""
    return dump(plan_object(made))


def plan_object(made: Plan) -> dict[str, Any]:
    """The plan as an object of plain values."""
    vocabulary = made.store.vocabulary
    return {
        "case": scope_json(made.case.when),
        "label": made.case.label,
        "answers": [_answer_json(answer, vocabulary) for answer in made.found.answers],
        "questions": [
            {"axis": q.axis, "choices": list(q.choices), "parameters": list(q.parameters)} for q in made.found.questions
        ],
        "derived": [
            {
                "label": quantity.label,
                "text": quantity.text,
                "missing": quantity.missing,
                "inputs": [{"label": i.label, "text": i.text, "basis": i.basis} for i in quantity.inputs],
            }
            for quantity in derived(made)
        ],
        "elsewhere": [parameter.id for parameter in made.found.elsewhere],
        "silent": [parameter.id for parameter in made.found.silent],
    }


def _answer_json(answer: Answer, vocabulary: Vocabulary) -> dict[str, Any]:
    topic, parameter = answer.topic, answer.parameter
    told: dict[str, Any] = {
        "topic": topic.id,
        "parameter": parameter.id,
        "when": scope_json(topic.when),
        "basis": answer.basis,
        "asks": list(answer.asks),
        "positions": [
            {"value": value_json(p.value, parameter, vocabulary), "claims": [claim.id for claim in p.claims]}
            for p in topic.positions
        ],
    }
    value = governing_value(topic, vocabulary)
    if value is not None:
        told["value"] = value_json(value, parameter, vocabulary)
    if topic.ruling:
        told["ruling"] = topic.ruling.id
    return told


# --- why -------------------------------------------------------------------------------------------------------------


def text_why(found: Why, case: Scope, store: Store) -> str:
    """How an answer comes about, statement by statement."""
    vocabulary, topic = store.vocabulary, found.topic
    parameter: Parameter = topic.parameter
    lines = [f"{parameter.label}, {scope_text(case, vocabulary) or 'in general'}"]
    for ruling, fate in found.rulings:
        scope = scope_text(ruling.when, vocabulary) or "in general"
        lines += [f"  ruling for {scope}: {ruling_text(ruling, vocabulary)}", f"      {fate}"]
    standing = {"single": "one voice", "silent": "no source covers this case"}.get(topic.standing, topic.standing)
    lines.append(f"  standing: {standing}")
    for position in topic.positions:
        lines.append(f"    {position_text(position, parameter, vocabulary, topic.when)}")
    merged = {voice: sources for voice, sources in found.voices.items() if sources != (voice,)}
    for voice, sources in merged.items():
        names = ", ".join(name_of(store.sources, source) for source in sources)
        lines.append(f"  {names}: speaks for {name_of(store.sources, voice)}, as one voice")
    fate = ""
    for reason in found.reasons:
        if reason.fate != fate:
            fate = reason.fate
            lines += ["", _HEADINGS[fate]]
        claim = reason.claim
        place = f", {claim.at}" if claim.at else ""
        scope = scope_text(claim.when, vocabulary)
        lines.append(
            f"  {stated_text(claim, vocabulary)}  {name_of(store.sources, claim.source)}{place}"
            f"{f' for {scope}' if scope else ''}{_because(reason.fate, reason.by, store)}"
        )
    return "\n".join(lines)


_HEADINGS = {
    "applies": "Statements that apply",
    "overridden": "Set aside: the same author says something more specific",
    "repeats": "Set aside: only repeats what it was compiled from",
    "superseded": "Set aside: a newer edition speaks",
    "narrower": "Not known to apply: the case does not say enough",
    "other case": "For other cases",
}


def _because(fate: str, by: tuple[str, ...], store: Store) -> str:
    if fate == "narrower":
        return f" [case does not say: {', '.join(store.vocabulary.axes[axis].label for axis in by)}]"
    if fate in ("superseded", "repeats"):
        return f" [{', '.join(name_of(store.sources, source) for source in by)}]"
    return f" [{', '.join(by)}]" if fate == "overridden" else ""


def json_why(found: Why, case: Scope, store: Store) -> str:
    """How an answer comes about, as JSON."""
    vocabulary, topic = store.vocabulary, found.topic
    return dump(
        {
            "topic": topic.id,
            "case": scope_json(case),
            "standing": topic.standing,
            "voices": {voice: list(sources) for voice, sources in found.voices.items()},
            "rulings": [{"id": ruling.id, "fate": fate} for ruling, fate in found.rulings],
            "claims": [
                {
                    "id": reason.claim.id,
                    "source": reason.claim.source,
                    "stated": stated_text(reason.claim, vocabulary),
                    "fate": reason.fate,
                    "by": list(reason.by),
                }
                for reason in found.reasons
            ],
        }
    )
