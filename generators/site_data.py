"""What the site's script works on: every topic with its conditions, positions and sources, as one script file.

A page opened from a folder may load a script but no data file, so the data is a script that sets one constant. What is
said over and over stands in a table once, and topics point into the tables; `Site.data` of site.js unfolds them.
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
from trayconcord.shapes.wording import name_of, position_text, printed_text

NAME = "site-data.js"
STANDINGS = ("contested", "agreed", "single", "silent")


def site_data(topics: list[Topic], store: Store) -> str:
    """The data of topics. Their id, case and address follow from parameter and conditions, and are left out."""
    vocabulary = store.vocabulary
    asked = {topic.parameter.id: topic.parameter for topic in topics}
    cited = {claim.source for topic in topics for claim in topic.claims}
    sources = sorted(cited, key=lambda s: (name_of(store.sources, s).strip("“").casefold(), s))
    positions: dict[str, int] = {}
    tables = _Tables(list(asked), list(vocabulary.axes), list(vocabulary.concepts), sources, positions)
    packed = [_topic(topic, tables, vocabulary) for topic in topics]
    schemes = {parameter.scheme for parameter in asked.values() if parameter.scheme}
    document = {
        "axes": {axis.id: {"label": axis.label, "prefix": axis.prefix} for axis in vocabulary.axes.values()},
        "concepts": {
            concept.id: {"label": concept.label, "alt": concept.alt, "broader": concept.broader}
            for concept in vocabulary.concepts.values()
        },
        "kinds": {kind.id: kind.label for kind in vocabulary.kinds.values()},
        "schemes": {s: [concept.id for concept in vocabulary.in_scheme(s)] for s in sorted(schemes)},
        "sources": {
            source: {
                "name": name_of(store.sources, source),
                "kind": store.sources[source].kind if source in store.sources else "",
            }
            for source in sources
        },
        "parameters": {parameter.id: _parameter(parameter, vocabulary) for parameter in asked.values()},
        "standings": STANDINGS,
        "positions": [json.loads(position) for position in positions],
        "topics": packed,
    }
    # Escaped to ASCII, so that no sign in a source's title can upset how the file is read or looked at.
    return f"const TRAYCONCORD_DATA = {json.dumps(document, separators=(',', ':'))};\n"


class _Tables:
    """Where each term stands in its table of the document."""

    def __init__(
        self, parameters: list[str], axes: list[str], concepts: list[str], sources: list[str], positions: dict[str, int]
    ) -> None:
        self.parameters, self.axes, self.concepts, self.sources = (
            {name: place for place, name in enumerate(names)} for names in (parameters, axes, concepts, sources)
        )
        self.positions = positions


def _parameter(parameter: Parameter, vocabulary: Vocabulary) -> dict[str, Any]:
    found: dict[str, Any] = {"label": parameter.label, "question": parameter.question, "kind": parameter.kind}
    if parameter.scheme:
        found["scheme"] = parameter.scheme
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


def _topic(topic: Topic, tables: _Tables, vocabulary: Vocabulary) -> list[Any]:
    """Parameter, conditions (axis and concept in turn), standing, sources, positions; the ruling, if there is one."""
    when = [place for axis, concept in topic.when for place in (tables.axes[axis], tables.concepts[concept])]
    sources = sorted({tables.sources[claim.source] for claim in topic.claims})
    positions = []
    for position in topic.positions:
        told = json.dumps(_position(position, topic, vocabulary))
        positions.append(tables.positions.setdefault(told, len(tables.positions)))
    packed: list[Any] = [
        tables.parameters[topic.parameter.id],
        when,
        STANDINGS.index(topic.standing),
        sources,
        positions,
    ]
    return packed + ([printed_text(topic.ruling, vocabulary)] if topic.ruling else [])


def _position(position: Position, topic: Topic, vocabulary: Vocabulary) -> dict[str, Any]:
    """A position in words; where there is something to decide, also as a form writes it, with the ends of a range."""
    value = position.value
    found: dict[str, Any] = {"text": position_text(position, topic.parameter, vocabulary, topic.when)}
    if topic.standing == "contested":
        found["form"] = value_form(value, topic.parameter, vocabulary)
        if isinstance(value, Interval):
            found |= {"low": _number(value.low), "high": _number(value.high)}
    return found


def _number(end: Fraction | None) -> float | None:
    return None if end is None else float(end)
