"""Topics as a readable table and as JSON."""

from collections.abc import Iterable, Iterator
from typing import Any

from trayconcord.generators.value_json import dump, scope_json, value_json
from trayconcord.kb.errors import unusable
from trayconcord.kb.model import Claim, Scope, in_order
from trayconcord.kb.store import Store
from trayconcord.kb.vocabulary import Vocabulary
from trayconcord.shapes.compare import Comparison, Topic
from trayconcord.shapes.orders import both_ways, merged, orders_of
from trayconcord.shapes.wording import (
    both_ways_text,
    comparable_text,
    merged_text,
    name_of,
    ruling_text,
    scope_text,
    stated_text,
)


def chosen_topics(comparison: Comparison, wanted: str | None) -> list[Topic]:
    """All topics, those of one parameter, or the one at the scope that a topic id names. Raises `UnusableInput`."""
    if wanted is None:
        return comparison.topics
    vocabulary = comparison.vocabulary
    parameter, _, query = wanted.partition("?")
    if parameter not in vocabulary.parameters:
        near = vocabulary.nearest(parameter, vocabulary.parameters)
        raise unusable(
            wanted, f"no parameter {parameter}", f"did you mean {near}?" if near else "see trayconcord terms"
        )
    if not query:
        return [topic for topic in comparison.topics if topic.parameter.id == parameter]
    return [comparison.at(parameter, _scope(wanted, query, vocabulary))]


def _scope(wanted: str, query: str, vocabulary: Vocabulary) -> Scope:
    when: dict[str, str] = {}
    for condition in query.split("&"):
        axis, _, concept = condition.partition("=")
        if axis not in vocabulary.axes:
            raise unusable(wanted, f"no condition axis {axis}", f"use one of: {', '.join(vocabulary.axes)}")
        scheme = {c.id: c for c in vocabulary.in_scheme(vocabulary.axes[axis].scheme)}
        if concept not in scheme:
            near = vocabulary.nearest(concept, dict(scheme))
            raise unusable(
                wanted, f"{axis} has no concept {concept}", f"did you mean {near}?" if near else "see trayconcord terms"
            )
        if axis in when:
            raise unusable(wanted, f"{axis} stands twice", "name each condition once")
        when[axis] = concept
    return in_order(when, vocabulary)


def json_topics(topics: list[Topic], vocabulary: Vocabulary) -> str:
    """The topics as the JSON that other programs read."""
    return dump({"topics": [topic_json(topic, vocabulary) for topic in topics]})


def json_parts(parts: Iterable[tuple[list[Topic], Store]]) -> Iterator[str]:
    """The same JSON for a store that comes in parts, in pieces to be printed one after the other."""
    head, foot = dump({"topics": [0]}).split("0")
    between = ""
    for topics, store in parts:
        for topic in topics:
            text = json_topics([topic], store.vocabulary)
            yield (between or head) + text[len(head) : -len(foot)]
            between = "," + head[head.rindex("\n") :]
    yield foot if between else dump({"topics": []})


def topic_json(topic: Topic, vocabulary: Vocabulary) -> dict[str, Any]:
    """One topic as a JSON object."""
    ruling = topic.ruling
    orders = orders_of(topic.claims) if topic.parameter.kind == "order" else []
    steps = {"mergedOrder": merged(orders, vocabulary), "bothWays": both_ways(orders, vocabulary)} if orders else {}
    return {
        "id": topic.id,
        "parameter": topic.parameter.id,
        "when": scope_json(topic.when),
        "standing": topic.standing,
        "firm": topic.firm,
        "voices": list(topic.voices),
        "positions": [
            {
                "value": value_json(position.value, topic.parameter, vocabulary),
                "claims": [claim.id for claim in position.claims],
                "sources": list(position.sources),
            }
            for position in topic.positions
        ],
        "ruling": {"id": ruling.id, "value": stated_text(ruling, vocabulary)} if ruling else None,
        **steps,
    }


def text_parts(parts: Iterable[tuple[list[Topic], Store]], in_full: bool) -> Iterator[str]:
    """Topics as text, one line each or with every claim side by side, in pieces to be printed on lines of their own: a
    store may come in parts."""
    empty = True
    for topics, store in parts:
        lines: list[str] = []
        parameter = ""
        for topic in topics:
            if topic.parameter.id != parameter:
                parameter = topic.parameter.id
                lines += ["", f"{topic.parameter.label}  [{parameter}]"]
            lines += _in_full(topic, store) if in_full else [_in_brief(topic, store.vocabulary)]
        if topics:
            yield "\n".join(lines).strip("\n") if empty else "\n".join(lines)
            empty = False
    if empty:
        yield "no source in the store speaks of this"
    elif not in_full:
        yield "\nsee one side by side: trayconcord compare PARAMETER"


def _in_brief(topic: Topic, vocabulary: Vocabulary) -> str:
    values = " | ".join(comparable_text(p.value, topic.parameter, vocabulary) for p in topic.positions)
    conditions = scope_text(topic.when, vocabulary) or "in general"
    ruled = f"   course: {stated_text(topic.ruling, vocabulary)}" if topic.ruling else ""
    return f"  {_standing(topic):<11} {len(topic.voices):>2} voices  {conditions}: {values}{ruled}"


def _standing(topic: Topic) -> str:
    return "contested?" if topic.standing == "contested" and not topic.firm else topic.standing


def _in_full(topic: Topic, store: Store) -> list[str]:
    vocabulary = store.vocabulary
    conditions = scope_text(topic.when, vocabulary) or "in general"
    voices = f"{len(topic.voices)} voice{'s' if len(topic.voices) != 1 else ''}"
    soft = ", a condition is not stated by all" if topic.standing == "contested" and not topic.firm else ""
    lines = ["", f"  {conditions}: {topic.standing}, {voices}{soft}"]
    if topic.ruling:
        lines.append(f"    the course adopts {ruling_text(topic.ruling, vocabulary)}")
        for former in store.history_of(topic.ruling.id):
            lines.append(f"      before: {ruling_text(former, vocabulary)}")
    rows = [(position, claim) for position in topic.positions for claim in position.claims]
    width = max((len(stated_text(claim, vocabulary)) for _, claim in rows), default=0)
    width = min(width, 44)
    before = None
    for position, claim in rows:
        if position is not before:
            lines.append(f"    {comparable_text(position.value, topic.parameter, vocabulary)}")
            before = position
        lines.append(f"      {_row(claim, store, width)}")
    if topic.parameter.kind == "order" and len(topic.positions) > 1:
        lines.append(
            f"    put both ways round: {both_ways_text(topic, vocabulary) or 'no pair, but not all fit together'}"
        )
        lines.append(f"    one order for all, as far as it goes: {merged_text(topic, vocabulary)}")
    return lines


def _row(claim: Claim, store: Store, width: int) -> str:
    how = f"{claim.obtained}" + (f" in {name_of(store.sources, claim.reported_by)}" if claim.reported_by else "")
    where = f", {claim.at}" if claim.at else ""
    scope = scope_text(claim.when, store.vocabulary)
    return f"{stated_text(claim, store.vocabulary):<{width}}  {name_of(store.sources, claim.source)}{where} ({how})" + (
        f" for {scope}" if scope else ""
    )
