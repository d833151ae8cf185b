"""Values as JSON objects. Numbers are exact decimals where they end; one that does not is rounded to six places."""

import json
from decimal import Decimal
from fractions import Fraction
from typing import Any

from trayconcord.kb.model import Scope
from trayconcord.kb.values import Choice, Comparable, Interval, Membership, Steps, YesNo, decimal_text
from trayconcord.kb.vocabulary import Parameter, Vocabulary
from trayconcord.shapes.wording import comparable_text


def value_json(value: Comparable, parameter: Parameter, vocabulary: Vocabulary) -> dict[str, Any]:
    """``min``, ``max`` and ``unit`` of a quantity (null where open), the members of anything else, and the text."""
    text = comparable_text(value, parameter, vocabulary)
    match value:
        case Interval(low, high):
            symbol = vocabulary.units[parameter.unit].symbol or "1"
            return {"min": number_json(low), "max": number_json(high), "unit": symbol, "text": text}
        case Choice(concept):
            return {"concept": concept, "text": text}
        case YesNo(yes):
            return {"yes": yes, "text": text}
        case Steps(steps):
            return {"steps": list(steps), "text": text}
        case Membership(includes, excludes, exact):
            return {"includes": sorted(includes), "excludes": sorted(excludes), "exactly": exact, "text": text}


def number_json(number: Fraction | None) -> int | float | None:
    """A number that JSON prints with the very digits of its decimal expansion."""
    if number is None:
        return None
    decimal = Decimal(decimal_text(number))
    return int(decimal) if decimal == decimal.to_integral_value() else float(decimal)


def scope_json(when: Scope) -> dict[str, str]:
    """Conditions as an object from axis to concept."""
    return dict(when)


def dump(document: Any) -> str:
    """JSON text as this project prints it."""
    return json.dumps(document, ensure_ascii=False, indent=2, sort_keys=True) + "\n"
