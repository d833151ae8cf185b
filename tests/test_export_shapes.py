"""The shapes that consumers check an export with: what ships passes, and each thing that must not be is found."""

from collections.abc import Callable
from typing import Any

import pytest
from invented import NOTES, store_of
from pyshacl import validate
from rdflib import Graph, Literal, Namespace, URIRef
from rdflib.namespace import DCTERMS, RDF, SH, XSD

from trayconcord.generators.export import rules_document
from trayconcord.generators.export_context import graph_of
from trayconcord.generators.export_dataset import DATASET
from trayconcord.generators.export_files import contract_text
from trayconcord.kb import namespaces as ns
from trayconcord.kb.namespaces import DCAT, QUDT, TC
from trayconcord.kb.store import Store
from trayconcord.kb.turtle import write_turtle
from trayconcord.shapes.check import Report
from trayconcord.shapes.compare import Comparison

SHAPE = Namespace("https://w3id.org/trayconcord/export/shape/")
OTHERS = """\
source: {id: other-notes, title: Other notes, year: 2021, kind: lecture-notes}
claims:
  - {parameter: stop-count, value: 4, at: p. 7, obtained: read}
  - {parameter: spacer-thickness, when: {impression-material: polyether}, value: 2 mm, at: p. 8, obtained: read}
  - {parameter: wall-thickness, value: 2 mm, at: p. 9, obtained: read}
"""
RULING = """\
rulings:
  - {parameter: wall-thickness, value: 2 mm, because: It is stiff., decided-on: 2026-05-12, decided-by: a board}
"""
COURSE = """\
cases:
  - {id: a-case, label: A case, when: {arch: maxillary}, asks: [stop-count]}
marking:
  pass: 1/3
  items:
    - {parameter: stop-count, weight: 2}
"""
CONTESTED, AGREED = ns.iri(ns.TOPIC, "stop-count"), ns.iri(ns.TOPIC, "spacer-thickness?impression-material=polyether")
RULED = ns.iri(ns.TOPIC, "wall-thickness")
CASE, POLICY, ITEM = ns.iri(ns.CASE, "a-case"), ns.iri(ns.MARKING, ns.POLICY), ns.iri(ns.MARKING, "stop-count")
CLAIM, OWN_RULING = ns.iri(ns.CLAIM, "other-notes/stop-count"), ns.iri(ns.RULING, "wall-thickness")


@pytest.fixture(scope="module")
def shapes() -> Graph:
    return Graph().parse(data=contract_text("rules-shapes.ttl"), format="turtle")


def export_of(store: Store) -> Graph:
    """The exported Turtle, read."""
    turtle = write_turtle(graph_of(rules_document(store, Comparison(store))))
    return Graph().parse(data=turtle, format="turtle")


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Graph:
    """A contested, an agreed, a ruled and no other topic; a taught case; a marking policy."""
    return export_of(store_of(tmp_path_factory.mktemp("small"), NOTES, OTHERS, RULING, COURSE))


def found(graph: Graph, shapes: Graph) -> set[tuple[Any, Any]]:
    """The nodes at which the shapes find something, each with the shape, or the node shape that holds it."""
    _, results, _ = validate(graph, shacl_graph=shapes)
    assert isinstance(results, Graph)
    pairs = set()
    for result in results.subjects(RDF.type, SH.ValidationResult):
        shape: Any = results.value(result, SH.sourceShape)
        owner = next(iter(shapes.subjects(SH.property, shape)), shape)
        pairs.add((results.value(result, SH.focusNode), owner))
    return pairs


def test_what_is_exported_passes(small: Graph, demo_store: Store, shapes: Graph) -> None:
    for graph in (small, export_of(demo_store)):
        assert (None, RDF.type, TC.Topic) in graph
        assert found(graph, shapes) == set()


@pytest.mark.slow
def test_all_that_ships_passes(ruled_report: Report, shapes: Graph) -> None:
    assert found(export_of(ruled_report.store), shapes) == set()


def test_every_shape_has_something_to_look_at(shipped_store: Store, small: Graph, shapes: Graph) -> None:
    """A class that is spelt wrongly would pass everything."""
    shipped = graph_of(rules_document(shipped_store, Comparison(shipped_store)))
    aimed = list(shapes.objects(None, SH.targetClass))
    assert len(aimed) > 8
    for target in aimed:
        assert (None, RDF.type, target) in small
    for target in shapes.objects(None, SH.targetSubjectsOf):
        assert (None, target, None) in shipped


Break = Callable[[Graph], Any]


def give_value(topic: URIRef) -> Break:
    return lambda graph: graph.add((topic, TC.value, URIRef(f"{AGREED}#value")))


BREAKS: dict[str, tuple[Break, URIRef, URIRef]] = {
    "a contested topic with a value": (give_value(CONTESTED), CONTESTED, SHAPE["value-of-topic"]),
    "a contested topic with a value and a basis": (
        lambda g: give_value(CONTESTED)(g.add((CONTESTED, TC.basis, Literal("agreement")))),
        CONTESTED,
        SHAPE["value-of-topic"],
    ),
    "a ruling that is nowhere": (
        lambda g: g.set((RULED, TC.ruling, URIRef(ns.RULING + "lost"))),
        RULED,
        SHAPE.topic,
    ),
    "a ruled topic without its ruling": (
        lambda g: g.remove((RULED, TC.ruling, None)),
        RULED,
        SHAPE["value-of-topic"],
    ),
    "an agreed topic without a value": (lambda g: g.remove((AGREED, TC.value, None)), AGREED, SHAPE["value-of-topic"]),
    "a contested topic with one position": (
        lambda g: g.remove((CONTESTED, TC.position, URIRef(f"{CONTESTED}#position-2"))),
        CONTESTED,
        SHAPE["positions-of-topic"],
    ),
    "an agreed topic with two positions": (
        lambda g: g.add((AGREED, TC.position, URIRef(f"{CONTESTED}#position-1"))),
        AGREED,
        SHAPE["positions-of-topic"],
    ),
    "a number at the topic itself": (
        lambda g: g.add((CONTESTED, TC.min, Literal("3.0", datatype=XSD.decimal))),
        CONTESTED,
        SHAPE["no-loose-value"],
    ),
    "a position that cites nothing": (
        lambda g: g.remove((URIRef(f"{CONTESTED}#position-1"), TC.claim, None)),
        URIRef(f"{CONTESTED}#position-1"),
        SHAPE.position,
    ),
    "a citation that leads nowhere": (
        lambda g: g.remove((CLAIM, None, None)),
        URIRef(f"{CONTESTED}#position-2"),
        SHAPE.position,
    ),
    "a claim of an unknown source": (
        lambda g: g.set((CLAIM, DCTERMS.source, URIRef(ns.SOURCE + "lost"))),
        CLAIM,
        SHAPE.claim,
    ),
    "a ruling without a reason": (lambda g: g.remove((OWN_RULING, TC.because, None)), OWN_RULING, SHAPE.ruling),
    "a number that is rounded": (
        lambda g: g.set((URIRef(f"{CLAIM}#value"), TC.min, Literal(3.0))),
        URIRef(f"{CLAIM}#value"),
        SHAPE.value,
    ),
    "a number without a unit": (
        lambda g: g.remove((URIRef(f"{CLAIM}#value"), QUDT.hasUnit, None)),
        URIRef(f"{CLAIM}#value"),
        SHAPE.value,
    ),
    "a standing that is none": (lambda g: g.set((AGREED, TC.standing, Literal("settled"))), AGREED, SHAPE.topic),
    "a case that asks for nothing known": (
        lambda g: g.set((CASE, TC.asks, URIRef(ns.PARAMETER + "lost"))),
        CASE,
        SHAPE.case,
    ),
    "a policy that does not say what it does": (
        lambda g: g.set((POLICY, TC.unmeasured, Literal("perhaps"))),
        POLICY,
        SHAPE["marking-policy"],
    ),
    "an item without a weight": (lambda g: g.remove((ITEM, TC.weight, None)), ITEM, SHAPE["marking-item"]),
    "no licence": (lambda g: g.remove((DATASET, DCTERMS.license, None)), DATASET, SHAPE.export),
    "no version": (lambda g: g.remove((DATASET, DCAT.version, None)), DATASET, SHAPE.export),
    "another format": (lambda g: g.set((DATASET, TC.contractFormat, Literal(2))), DATASET, SHAPE.export),
}


@pytest.mark.parametrize("name", BREAKS)
def test_the_shapes_find(name: str, small: Graph, shapes: Graph) -> None:
    spoil, focus, shape = BREAKS[name]
    graph = Graph()
    for triple in small:
        graph.add(triple)
    spoil(graph)
    assert (focus, shape) in found(graph, shapes)
