"""The rule export: what other programs read. A value stands only where the topic is agreed or ruled.

Every record is a JSON object with an ``id`` and a ``type``; `export_context` says which triples it stands for, and
``contract/rules.schema.json`` what each key means. Numbers are exact: decimals as text, else a rational.
"""

from fractions import Fraction
from importlib.metadata import version
from typing import Any

from trayconcord.generators.export_context import FRACTION, context
from trayconcord.generators.references import reference_text
from trayconcord.kb import namespaces as ns
from trayconcord.kb.literals import number_literal
from trayconcord.kb.marking import MarkingItem, MarkingPolicy
from trayconcord.kb.model import Case, Claim, Ruling, Scope, Source, comparable
from trayconcord.kb.store import Store
from trayconcord.kb.values import Choice, Comparable, Interval, Membership, Steps, YesNo
from trayconcord.kb.vocabulary import Caution, Parameter, Unit, Vocabulary
from trayconcord.shapes.answers import basis_of, governing_value
from trayconcord.shapes.compare import Comparison, Topic
from trayconcord.shapes.wording import comparable_text, scope_text, stated_text

FORMAT = 1
"""The number of the contract: it rises when something that a consumer may rely on goes or changes its meaning."""

LICENCE = "https://creativecommons.org/licenses/by/4.0/"
NOTICE = (
    "What a source says is recorded here, not endorsed. Local codes, the maker’s instructions and the judgement of a "
    "licensed practitioner come first."
)

Record = dict[str, Any]


def rules_document(store: Store, comparison: Comparison) -> Record:
    """The export as an object of plain values. Raises `UnusableInput` where an axis bears a name of the contract."""
    vocabulary = store.vocabulary
    parameters = vocabulary.parameters.values()
    units = dict.fromkeys(parameter.unit for parameter in parameters if parameter.unit)
    newer = {claim.id: source for claim, source in comparison.superseded()}
    marking = {} if store.marking is None else {"marking": _policy(store.marking, vocabulary)}
    return {
        "@context": context(vocabulary),
        "id": "export",
        "type": "RuleExport",
        "format": FORMAT,
        "version": version("trayconcord"),
        "store": {"algorithm": "RDFC-1.0, SHA-256", "hash": store.hash},
        "licence": LICENCE,
        "notice": NOTICE,
        "namespace": ns.BASE,
        "rules": [_rule(topic, vocabulary) for topic in comparison.answered],
        "rulings": [_ruling(ruling, vocabulary) for ruling in store.rulings if ruling.value is not None],
        "claims": [
            _claim(claim, comparison.voices.voice(claim.source), newer.get(claim.id), vocabulary)
            for claim in store.claims
            if claim.value is not None
        ],
        "sources": [_source(source, sorted(comparison.voices.origins(source.id))) for source in store.sources.values()],
        "parameters": [_parameter(parameter, vocabulary) for parameter in parameters],
        "axes": [
            _told(id=a.id, type="Axis", label=a.label, question=a.question, **{"of-case": a.of_case})
            for a in vocabulary.axes.values()
        ],
        "concepts": [
            _told(id=c.id, type="Concept", label=c.label, broader=c.broader) for c in vocabulary.concepts.values()
        ],
        "units": [
            _told(id=unit_id(u), type="Unit", label=u.label, symbol=u.symbol)
            for u in (vocabulary.units[unit] for unit in units)
        ],
        "cautions": [_caution(caution, store) for caution in vocabulary.cautions.values()],
        "deprecated": [
            _told(id=old.id, retired=True, because=old.reason, **{"replaced-by": old.replacement})
            for old in store.retired
        ],
        "cases": [_case(case, vocabulary) for case in store.cases if not case.troubles],
        **marking,
    }


def _told(**parts: Any) -> Record:
    """A record without what is not said."""
    return {key: part for key, part in parts.items() if part is not None and part != ""}


def _scope(when: Scope, vocabulary: Vocabulary) -> Record:
    return {"when": dict(when), "conditions": scope_text(when, vocabulary)}


def _rule(topic: Topic, vocabulary: Vocabulary) -> Record:
    parameter = topic.parameter
    value = governing_value(topic, vocabulary)
    return _told(
        id=topic.id,
        type="Topic",
        parameter=parameter.id,
        **_scope(topic.when, vocabulary),
        standing=topic.standing,
        firm=topic.firm,
        basis=None if value is None else basis_of(topic),
        ruling=topic.ruling.id if topic.ruling else None,
        value=None if value is None else _value(f"{topic.id}#value", value, parameter, vocabulary),
        positions=[
            {
                **_value(f"{topic.id}#position-{number}", position.value, parameter, vocabulary),
                "type": "Position",
                "claims": [claim.id for claim in position.claims],
            }
            for number, position in enumerate(topic.positions, start=1)
        ],
    )


def _statement(record: Claim | Ruling, vocabulary: Vocabulary) -> Record:
    """What claims and rulings have in common."""
    parameter = vocabulary.parameters[record.parameter]
    assert record.value is not None
    value = comparable(record.value, parameter, vocabulary)
    return {
        "id": record.id,
        "parameter": parameter.id,
        **_scope(record.when, vocabulary),
        "stated": stated_text(record, vocabulary),
        "value": _value(f"{record.id}#value", value, parameter, vocabulary),
    }


def _ruling(ruling: Ruling, vocabulary: Vocabulary) -> Record:
    return _told(
        type="Ruling",
        **_statement(ruling, vocabulary),
        because=ruling.because,
        **{
            "decided-on": ruling.decided_on,
            "decided-by": ruling.decided_by,
            "review-by": ruling.review_by,
            "without-source": ruling.without_source,
        },
    )


def _claim(claim: Claim, voice: str, newer: str | None, vocabulary: Vocabulary) -> Record:
    return _told(
        type="Claim",
        **_statement(claim, vocabulary),
        source=claim.source,
        voice=voice,
        at=claim.at,
        obtained=claim.obtained,
        **{"reported-by": claim.reported_by, "superseded-by": newer},
    )


def _source(source: Source, origins: list[str]) -> Record:
    return _told(
        id=source.id,
        type="Source",
        reference=reference_text(source),
        year=source.year or None,
        kind=source.kind,
        doi=source.doi,
        **{
            "edition-of": source.edition_of,
            "compiled-from": list(source.compiled_from) or None,
            "origins": origins or None,
        },
    )


def _parameter(parameter: Parameter, vocabulary: Vocabulary) -> Record:
    quantity = parameter.kind in ("interval", "count")
    return _told(
        id=parameter.id,
        type="Parameter",
        label=parameter.label,
        definition=parameter.definition,
        question=parameter.question,
        chapter=parameter.chapter,
        unit=unit_id(vocabulary.units[parameter.unit]) if quantity else None,
        tolerance=exact_json(parameter.tolerance) if quantity else None,
        **{"value-kind": parameter.kind, "depends-on": list(parameter.depends_on)},
    )


def _caution(caution: Caution, store: Store) -> Record:
    """A caution; sources that the store leaves out are left out here too."""
    cited = [source for source in caution.sources if source in store.sources]
    return _told(
        id=caution.id,
        type="Caution",
        label=caution.label,
        definition=caution.definition,
        hazards=list(caution.hazards) or None,
        sources=cited or None,
        **{"arises-from": list(caution.arises_from), "arises-with": list(caution.arises_with) or None},
    )


def _case(case: Case, vocabulary: Vocabulary) -> Record:
    return _told(id=case.id, type="Case", label=case.label, **_scope(case.when, vocabulary), asks=list(case.asks))


def _policy(policy: MarkingPolicy, vocabulary: Vocabulary) -> Record:
    """The marking policy; items that cannot be read are left out, as they are not marked by."""
    return _told(
        id=ns.POLICY,
        type="MarkingPolicy",
        unmeasured=policy.unmeasured,
        items=[_item(item, vocabulary) for item in policy.items if not item.troubles],
        **{
            "pass-mark": None if policy.pass_mark is None else exact_json(policy.pass_mark),
            "borderline-credit": exact_json(policy.borderline),
            "decided-on": policy.decided_on,
            "decided-by": policy.decided_by,
        },
    )


def _item(item: MarkingItem, vocabulary: Vocabulary) -> Record:
    """An item of the policy, its quantities in the unit of its parameter."""
    quantities = {
        "tolerance-quantity": item.tolerance,
        "tolerance-share": item.tolerance_share,
        "uncertainty": item.uncertainty,
        "borderline-credit": item.borderline,
    }
    measured = item.tolerance is not None or item.uncertainty is not None
    return _told(
        id=item.id,
        type="MarkingItem",
        parameter=item.parameter,
        **_scope(item.when, vocabulary),
        sites=list(item.sites),
        weight=exact_json(item.weight),
        unit=unit_id(vocabulary.units[vocabulary.parameters[item.parameter].unit]) if measured else None,
        **{key: exact_json(number) for key, number in quantities.items() if number is not None},
    )


def _value(identifier: str, value: Comparable, parameter: Parameter, vocabulary: Vocabulary) -> Record:
    """A value in the parameter's unit; an open end of a range is left out."""
    told: Record = {"id": identifier, "type": "Value", "text": comparable_text(value, parameter, vocabulary)}
    match value:
        case Interval(low, high):
            ends = {"min": low, "max": high}
            told |= {key: exact_json(end) for key, end in ends.items() if end is not None}
            told["unit"] = unit_id(vocabulary.units[parameter.unit])
        case Choice(concept):
            told["concept"] = concept
        case YesNo(yes):
            told["yes"] = yes
        case Steps(steps):
            told["steps"] = [
                {"id": f"{identifier}-step-{number}", "number": number, "step": step}
                for number, step in enumerate(steps, start=1)
            ]
        case Membership(includes, excludes, exact):
            told |= {"includes": sorted(includes), "excludes": sorted(excludes), "exactly": exact}
    return told


def exact_json(number: Fraction) -> str | dict[str, str]:
    """A number that no parser rounds: its decimals as text where they end, else numerator and denominator.

    >>> exact_json(Fraction(5, 4)), exact_json(Fraction(1, 3))
    ('1.25', {'@type': 'owl:rational', '@value': '1/3'})
    """
    literal = number_literal(number)
    return {"@type": FRACTION, "@value": str(literal)} if "/" in literal else str(literal)


def unit_id(unit: Unit) -> str:
    """The id of a unit in the export: that of QUDT, or the whole IRI of one of the trade's own."""
    return ns.local(unit.iri, str(ns.UNIT))
