"""The rule export: no contested number as a value, all of it cited, JSON and Turtle alike."""

import json
from fractions import Fraction
from typing import Any

import pytest
from invented import NOTES, store_of
from rdflib import BNode, Graph, Literal, URIRef
from rdflib.namespace import DCTERMS, PROV, RDF, SKOS

from trayconcord.generators.export import LICENCE, rules_document
from trayconcord.generators.export_context import graph_of
from trayconcord.generators.export_dataset import DATASET
from trayconcord.generators.export_files import one_file
from trayconcord.kb import namespaces as ns
from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.model import comparable
from trayconcord.kb.namespaces import BIBO, DCAT, QUDT, TC
from trayconcord.kb.store import Store, load
from trayconcord.kb.turtle import write_turtle
from trayconcord.kb.values import Interval
from trayconcord.shapes.compare import Comparison

Record = dict[str, Any]
Exported = tuple[Store, Record, Graph]


def exported(store: Store) -> Exported:
    document = json.loads(one_file("json", rules_document(store, Comparison(store))))
    return store, document, Graph().parse(data=write_turtle(graph_of(document)), format="turtle")


def by_id(document: Record, table: str) -> dict[str, Record]:
    return {record["id"]: record for record in document[table]}


@pytest.fixture(scope="module")
def shipped(shipped_store: Store) -> Exported:
    return exported(shipped_store)


@pytest.fixture(scope="module")
def demo(demo_store: Store) -> Exported:
    return exported(demo_store)


@pytest.fixture(params=["shipped", "demo"])
def export(request: pytest.FixtureRequest) -> Exported:
    """The export of the shipped store, which has no rulings, and of the demo's, which has two."""
    found: Exported = request.getfixturevalue(request.param)
    return found


# --- the JSON ---


def test_the_file_says_what_it_is_and_where_it_comes_from(export: Exported) -> None:
    store, document, _ = export
    assert document["format"] == 1
    assert document["licence"] == LICENCE == "https://creativecommons.org/licenses/by/4.0/"
    assert document["namespace"] == "https://w3id.org/trayconcord/"
    assert "licensed practitioner come first" in document["notice"]
    sources = by_id(document, "sources")
    assert set(sources) == set(store.sources)
    for identifier, source in sources.items():
        assert source["reference"]
        assert source.get("year", 0) == store.sources[identifier].year
    assert len(by_id(document, "rules")) == len(document["rules"]) == len(Comparison(store).answered)


def test_what_is_referred_to_is_there(export: Exported) -> None:
    _, document, _ = export
    tables = {
        "parameter": "parameters", "unit": "units", "source": "sources", "reported-by": "sources",
        "edition-of": "sources", "superseded-by": "sources", "broader": "concepts", "concept": "concepts",
        "step": "concepts", "includes": "concepts", "excludes": "concepts", "claims": "claims", "ruling": "rulings",
        "depends-on": "axes", "compiled-from": "sources", "arises-from": "concepts", "sources": "sources",
    }  # fmt: skip
    ids = {table: set(by_id(document, table)) for table in {*tables.values(), "rules", "cautions"}}
    followed = set()

    def walk(part: Any) -> None:
        if isinstance(part, list):
            for member in part:
                walk(member)
        elif isinstance(part, dict):
            for key, value in part.items():
                named = value if isinstance(value, list) else [value]
                if key in tables and all(isinstance(name, str) for name in named):
                    assert set(named) <= ids[tables[key]], (key, value)
                    followed.add(key)
                elif key == "when":
                    assert set(value) <= ids["axes"] and set(value.values()) <= ids["concepts"]
                else:
                    walk(value)

    for table in ids:
        walk(document[table])
    assert followed >= {
        "parameter",
        "unit",
        "source",
        "broader",
        "step",
        "includes",
        "claims",
        "depends-on",
        "arises-from",
    }


def test_a_value_stands_only_where_a_topic_is_agreed_or_ruled(export: Exported) -> None:
    _, document, _ = export
    for rule in document["rules"]:
        settled = rule["standing"] == "agreed" or "ruling" in rule
        assert ("value" in rule) == ("basis" in rule) == settled
        if settled:
            assert rule["basis"] == ("ruling" if "ruling" in rule else "agreement")
        assert rule["positions"] or (rule["standing"] == "silent" and "ruling" in rule)
    standings = {rule["standing"] for rule in document["rules"]}
    assert standings - {"silent"} == {"agreed", "contested", "single"}
    unsettled = [rule for rule in document["rules"] if rule["standing"] != "agreed" and "ruling" not in rule]
    assert unsettled
    # not even under another name: the numbers of an unsettled rule are those of its positions
    for rule in unsettled:
        assert not {"min", "max", "concept", "yes", "steps", "includes", "excludes"} & set(rule)


def meaning(value: Record) -> Record:
    """A value or position without its name and its claims."""
    told = {key: part for key, part in value.items() if key not in ("id", "type", "claims")}
    return told | ({"steps": [step["step"] for step in value["steps"]]} if "steps" in value else {})


def test_an_agreed_value_is_that_of_its_one_position(export: Exported) -> None:
    _, document, _ = export
    agreed = [rule for rule in document["rules"] if rule.get("basis") == "agreement"]
    assert agreed
    for rule in agreed:
        (position,) = rule["positions"]
        assert meaning(rule["value"]) == meaning(position)


def test_a_ruled_value_is_the_ruling_with_its_reason(demo: Exported) -> None:
    store, document, _ = demo
    ruled = {rule["id"]: rule for rule in document["rules"] if "ruling" in rule}
    paste = ruled["spacer-thickness?impression-material=zinc-oxide-eugenol-paste"]
    assert paste["standing"] == "contested"
    assert meaning(paste["value"]) == {"min": "0.0", "max": "0.0", "unit": "MilliM", "text": "none"}
    (ruling,) = (ruling for ruling in store.rulings if ruling.parameter == "spacer-thickness")
    assert paste["ruling"] == ruling.id
    assert by_id(document, "rulings")[ruling.id] == {
        "id": ruling.id,
        "type": "Ruling",
        "parameter": "spacer-thickness",
        "when": {"impression-material": "zinc-oxide-eugenol-paste"},
        "conditions": "zinc oxide-eugenol paste",
        "stated": "none",
        "value": paste["value"],
        "because": ruling.because,
        "decided-on": "2026-05-12",
        "decided-by": ruling.decided_by,
        "review-by": "2027-05-01",
    }
    clearance = ruled["border-clearance"]
    assert (clearance["value"]["min"], clearance["value"]["max"]) == ("2.0", "2.0")


def test_every_citation_names_a_claim_of_the_store_and_its_source(export: Exported) -> None:
    store, document, _ = export
    claims, told, sources = {claim.id: claim for claim in store.claims}, by_id(document, "claims"), document["sources"]
    comparison = Comparison(store)
    cited = set()
    for rule in document["rules"]:
        for position in rule["positions"]:
            assert position["claims"]
            for identifier in position["claims"]:
                claim, citation = claims[identifier], told[identifier]
                cited.add(claim.id)
                assert citation["source"] == claim.source
                assert citation["voice"] == comparison.voices.voice(claim.source)
                assert claim.parameter == citation["parameter"] == rule["parameter"]
                assert dict(claim.when) == citation["when"]
                assert citation.get("at", "") == claim.at
                assert citation["obtained"] == claim.obtained
                assert citation.get("reported-by", "") == claim.reported_by
                assert citation["stated"] == claim.printed or not claim.printed
    # what is superseded or only repeated is not heard; every other claim is cited somewhere
    superseded = {claim.id: newer for claim, newer in comparison.superseded()}
    assert not set(superseded) & cited
    assert {key: claim["superseded-by"] for key, claim in told.items() if "superseded-by" in claim} == superseded
    unheard = [claim for claim in store.claims if claim.value is not None and claim.id not in cited | set(superseded)]
    repeating = {source["id"] for source in sources if "origins" in source}
    assert {claim.source for claim in unheard} <= repeating


def exact(number: str | Record) -> Fraction:
    return Fraction(number if isinstance(number, str) else number["@value"])


def test_every_number_is_the_exact_one(export: Exported) -> None:
    store, document, _ = export
    told, fractions = by_id(document, "claims"), 0
    for claim in store.claims:
        assert claim.value is not None
        value = comparable(claim.value, store.vocabulary.parameters[claim.parameter], store.vocabulary)
        if isinstance(value, Interval):
            for key, end in (("min", value.low), ("max", value.high)):
                written = told[claim.id]["value"].get(key)
                assert end == (None if written is None else exact(written))
                fractions += isinstance(written, dict)
    assert fractions or store.rulings, "a number whose decimals do not end is among the shipped ones"


def test_an_axis_with_the_name_of_a_key_is_refused(shipped_store: Store, tmp_path: Any) -> None:
    store = store_of(tmp_path, NOTES)
    axes = store.vocabulary.axes
    axes["unit"] = axes["arch"]
    try:
        with pytest.raises(UnusableInput, match="axis unit: has the name of a key"):
            rules_document(store, Comparison(store))
    finally:
        del axes["unit"]


# --- the Turtle ---


def test_the_turtle_has_no_blank_node(export: Exported) -> None:
    graph = export[2]
    assert len(graph) > 100
    assert not [term for triple in graph for term in triple if isinstance(term, BNode)]


def test_the_turtle_carries_the_same_hash_version_and_licence(export: Exported) -> None:
    _, document, graph = export
    assert graph.value(DATASET, TC.storeHash) == Literal(document["store"]["hash"])
    assert str(graph.value(DATASET, DCAT.version)) == document["version"]
    assert graph.value(DATASET, DCTERMS.license) == URIRef(document["licence"])


def ids(graph: Graph, subject: URIRef, predicate: URIRef, family: str) -> list[str]:
    """The ids of what a subject refers to."""
    return sorted(ns.local(str(value), family) for value in graph.objects(subject, predicate))


def value_in(graph: Graph, subject: Any) -> Record:
    """The value of a subject in the Turtle, in the keys of the JSON; numbers as fractions."""
    told: Record = {"text": str(graph.value(subject, TC.inWords))}
    if (subject, QUDT.hasUnit, None) in graph:
        ends = {"min": graph.value(subject, TC.min), "max": graph.value(subject, TC.max)}
        told["unit"] = ids(graph, subject, QUDT.hasUnit, str(ns.UNIT))[0]
        return told | {key: Fraction(str(end)) for key, end in ends.items() if end is not None}
    if (subject, TC.choice, None) in graph:
        return told | {"concept": ids(graph, subject, TC.choice, ns.CONCEPT)[0]}
    if (subject, TC.yes, None) in graph:
        return told | {"yes": str(graph.value(subject, TC.yes)) == "true"}
    if (subject, TC.exactly, None) in graph:
        sides = {key: ids(graph, subject, TC[key], ns.CONCEPT) for key in ("includes", "excludes")}
        return told | sides | {"exactly": str(graph.value(subject, TC.exactly)) == "true"}
    steps = sorted(graph.objects(subject, TC.step), key=lambda step: int(str(graph.value(step, TC.number))))
    return told | {"steps": [ids(graph, step, TC.doneAtStep, ns.CONCEPT)[0] for step in steps]}


def in_fractions(value: Record) -> Record:
    return {key: exact(part) if key in ("min", "max") else part for key, part in meaning(value).items()}


def test_turtle_and_json_say_the_same_rule_by_rule(export: Exported) -> None:
    _, document, graph = export
    claims = by_id(document, "claims")
    assert {str(topic) for topic in graph.subjects(RDF.type, TC.Topic)} == {
        ns.TOPIC + rule["id"] for rule in document["rules"]
    }
    kinds = set()
    for rule in document["rules"]:
        topic = ns.iri(ns.TOPIC, rule["id"])
        assert str(graph.value(topic, TC.standing)) == rule["standing"]
        assert ids(graph, topic, TC.parameter, ns.PARAMETER) == [rule["parameter"]]
        when = {
            ns.local(str(p), ns.AXIS): ns.local(str(o), ns.CONCEPT)
            for p, o in graph.predicate_objects(topic)
            if p.startswith(ns.AXIS)
        }
        assert when == rule["when"]
        values = list(graph.objects(topic, TC.value))
        assert [value_in(graph, value) for value in values] == [
            in_fractions(part) for key, part in rule.items() if key == "value"
        ]
        assert ids(graph, topic, TC.ruling, ns.RULING) == ([rule["ruling"]] if "ruling" in rule else [])
        assert len(list(graph.objects(topic, TC.position))) == len(rule["positions"])
        for number, position in enumerate(rule["positions"], start=1):
            node = URIRef(f"{topic}#position-{number}")
            assert (topic, TC.position, node) in graph
            assert value_in(graph, node) == in_fractions(position)
            kinds |= set(position)
            assert ids(graph, node, TC.claim, ns.CLAIM) == sorted(position["claims"])
            for identifier in position["claims"]:
                claim, citation = ns.iri(ns.CLAIM, identifier), claims[identifier]
                assert ids(graph, claim, DCTERMS.source, ns.SOURCE) == [citation["source"]]
                assert ids(graph, claim, TC.obtained, ns.OBTAINED) == [citation["obtained"]]
                assert [str(at) for at in graph.objects(claim, BIBO.locator)] == [
                    text for key, text in citation.items() if key == "at"
                ]
                reported = ids(graph, claim, PROV.wasDerivedFrom, ns.SOURCE)
                assert reported == [text for key, text in citation.items() if key == "reported-by"]
    assert {"unit", "includes", "steps"} <= kinds
    for identifier, source in by_id(document, "sources").items():
        cited = graph.value(ns.iri(ns.SOURCE, identifier), DCTERMS.bibliographicCitation)
        assert str(cited) == source["reference"]
    for identifier, concept in by_id(document, "concepts").items():
        node = ns.iri(ns.CONCEPT, identifier)
        assert graph.value(node, SKOS.prefLabel) == Literal(concept["label"], lang="en")
        assert ids(graph, node, SKOS.broader, ns.CONCEPT) == [name for key, name in concept.items() if key == "broader"]


def test_the_export_is_the_same_whenever_it_is_made(demo_store: Store) -> None:
    one, other = (one_file("json", rules_document(demo_store, Comparison(demo_store))) for _ in range(2))
    assert one == other
    assert write_turtle(graph_of(json.loads(one))) == write_turtle(graph_of(json.loads(other)))


def test_an_export_without_sources_has_no_rules() -> None:
    _, document, graph = exported(load(only=True))
    assert document["rules"] == document["sources"] == document["deprecated"] == []
    assert (None, RDF.type, TC.Topic) not in graph
