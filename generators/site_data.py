"""What the site's script works on: every topic with its conditions, positions and sources, as one script file.

A page opened from a folder may load a script but no data file, so the data is a script that sets one constant.
"""

import json
from fractions import Fraction
from typing import Any

from trayconcord.kb.form_text import value_form
from trayconcord.kb.store import Store
from trayconcord.kb.values import Interval
from trayconcord.kb.vocabulary import Parameter, Vocabulary
from trayconcord.shapes.compare import Topic
from trayconcord.shapes.panel import Position
from trayconcord.shapes.wording import name_of, position_text, printed_text, scope_text

NAME = "site-data.js"


def site_data(topics: list[tuple[Topic, str]], store: Store) -> str:
    """The data of topics, each given with the address of its place on the site."""
    vocabulary = store.vocabulary
    asked = {topic.parameter.id: topic.parameter for topic, _ in topics}
    cited = {claim.source for topic, _ in topics for claim in topic.claims}
    document = {
        "axes": {axis.id: axis.label for axis in vocabulary.axes.values()},
        "concepts": {
            concept.id: {"label": concept.label, "alt": concept.alt, "broader": concept.broader}
            for concept in vocabulary.concepts.values()
        },
        "kinds": {kind.id: kind.label for kind in vocabulary.kinds.values()},
        "sources": {
            source: {
                "name": name_of(store.sources, source),
                "kind": store.sources[source].kind if source in store.sources else "",
            }
            for source in sorted(cited, key=lambda s: (name_of(store.sources, s).strip("“").casefold(), s))
        },
        "parameters": {parameter.id: _parameter(parameter, vocabulary) for parameter in asked.values()},
        "topics": [_topic(topic, address, vocabulary) for topic, address in topics],
    }
    # Escaped to ASCII, so that no sign in a source's title can upset how the file is read or looked at.
    return f"const TRAYCONCORD_DATA = {json.dumps(document, separators=(',', ':'))};\n"


def _parameter(parameter: Parameter, vocabulary: Vocabulary) -> dict[str, Any]:
    found: dict[str, Any] = {"label": parameter.label, "question": parameter.question, "kind": parameter.kind}
    if parameter.scheme:
        found["members"] = [concept.id for concept in vocabulary.in_scheme(parameter.scheme)]
    if parameter.unit:
        own = vocabulary.units[parameter.unit]
        units = vocabulary.units_of(own.kind) if parameter.kind == "interval" else [own]
        # Only for telling, while somebody types, whether a value lies in a position: the check does it exactly.
        found["units"] = {unit.symbol: float(unit.multiplier / own.multiplier) for unit in units}
        found["symbol"] = own.symbol
        found["tolerance"] = float(parameter.tolerance)
        if parameter.none_means is not None:
            found["none"] = float(parameter.none_means)
    return found


def _topic(topic: Topic, address: str, vocabulary: Vocabulary) -> dict[str, Any]:
    return {
        "id": topic.id,
        "href": address,
        "parameter": topic.parameter.id,
        "when": dict(topic.when),
        "case": scope_text(topic.when, vocabulary) or "in general",
        "standing": topic.standing,
        "ruling": printed_text(topic.ruling, vocabulary) if topic.ruling else "",
        "sources": sorted({claim.source for claim in topic.claims}),
        "positions": [_position(position, topic, vocabulary) for position in topic.positions],
    }


def _position(position: Position, topic: Topic, vocabulary: Vocabulary) -> dict[str, Any]:
    """A position in words; where there is something to decide, also as a form writes it, with the ends of a range."""
    value = position.value
    found: dict[str, Any] = {"text": position_text(position, topic.parameter, vocabulary)}
    if topic.standing == "contested":
        found["form"] = value_form(value, topic.parameter, vocabulary)
        if isinstance(value, Interval):
            found |= {"low": _number(value.low), "high": _number(value.high)}
    return found


def _number(end: Fraction | None) -> float | None:
    return None if end is None else float(end)
