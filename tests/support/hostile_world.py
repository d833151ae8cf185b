"""A small world to read spoilt files in: a store of a few claims, a vocabulary of a few parameters, good files."""

import tempfile
from dataclasses import replace
from functools import cached_property
from pathlib import Path

from rdflib import Graph, URIRef
from rdflib.namespace import SKOS

from trayconcord.generators.export import rules_document
from trayconcord.kb import namespaces as ns
from trayconcord.kb.forms import Form, read_form
from trayconcord.kb.marking import MarkingPolicy
from trayconcord.kb.records import case_triples, claim_triples, ruling_triples, source_triples
from trayconcord.kb.store import Store, load, of_triples
from trayconcord.kb.triples import Triples
from trayconcord.kb.turtle import new_graph, read_turtle, write_turtle
from trayconcord.kb.vocabulary import Vocabulary
from trayconcord.shapes.compare import Comparison

PATIENCE = 5.0
"""Seconds of computing within which every input must be answered."""

WAIT = 60.0
"""Seconds after which a reader counts as waiting for something, however busy the machine is."""


class _World:
    """A small store to read against, made once: the shipped vocabulary, and a few parameters with a few claims."""

    @cached_property
    def vocabulary(self) -> Vocabulary:
        return load(only=True).vocabulary

    @cached_property
    def few(self) -> Graph:
        """A vocabulary of one parameter of each kind, so that a store of it is read in milliseconds."""
        parameters = ["spacer-thickness", "stop-count", "spacer-design", "soak-cast", "relief-areas", "procedure"]
        terms = self.vocabulary
        schemes = {terms.parameters[name].scheme for name in parameters} | {terms.axes["arch"].scheme}
        schemes |= {terms.axes["impression-material"].scheme}
        names = [f"parameter/{name}" for name in parameters] + [f"scheme/{scheme}" for scheme in schemes if scheme]
        names += [f"concept/{concept.id}" for concept in terms.concepts.values() if schemes & set(concept.schemes)]
        for family, known in (("axis", terms.axes), ("kind", terms.kinds), ("obtained", terms.obtained)):
            names += [f"{family}/{name}" for name in known]
        wanted = {URIRef(ns.BASE + name) for name in names} | {ns.UNIT.MilliM, ns.UNIT.UNITLESS, ns.UNIT.CentiM}
        graph = new_graph()
        for subject, predicate, value in load(only=True).graph:
            if subject in wanted and predicate not in (SKOS.definition, SKOS.scopeNote):
                graph.add((subject, predicate, value))
        return graph

    def store(self, *documents: bytes) -> Store:
        """The store that some Turtle documents make with the few parameters. Raises `UnusableInput`."""
        graph = new_graph()
        for number, data in enumerate(documents):
            read_turtle(data, f"document-{number}.ttl", graph)
        for triple in self.few:
            graph.add(triple)
        return of_triples(Triples(graph), {})

    @cached_property
    def comparison(self) -> Comparison:
        return Comparison(self.small)

    @cached_property
    def small(self) -> Store:
        """A few claims, agreed and contested, in the shipped vocabulary."""
        return load([self.layer], only=True)

    @cached_property
    def layer(self) -> Path:
        layer = self.folder / "layer"
        (layer / "sources").mkdir(parents=True)
        for name in ("one", "two", "three"):
            (layer / "sources" / f"{name}.ttl").write_bytes(turtle_of(form_of(name)))
        return layer

    @cached_property
    def policy(self) -> MarkingPolicy | None:
        path = self.folder / "policy.yaml"
        path.write_bytes(POLICY)
        return read_form(path, self.vocabulary).marking

    @cached_property
    def folder(self) -> Path:
        """A folder of this process for the files that are read."""
        return Path(tempfile.mkdtemp(prefix="hostile-"))

    def form(self, text: str) -> Form:
        path = self.folder / "seed.yaml"
        path.write_text(text, encoding="utf-8")
        return read_form(path, self.vocabulary)

    @cached_property
    def export(self) -> dict[str, object]:
        taught = replace(self.small, cases=list(self.form(RULINGS).cases), marking=self.policy)
        return rules_document(taught, self.comparison)


WORLD = _World()


def form_of(name: str) -> str:
    thickness = {"one": "1-2 mm", "two": "0.5 mm", "three": "about 1/8 in"}[name]
    return f"""\
source: {{id: work-{name}, title: Work {name}, authors: ["Nobody, Ann"], year: 2020, kind: textbook}}
claims:
- {{parameter: spacer-thickness, value: {thickness}, at: p. 1, obtained: read}}
- parameter: spacer-thickness
  when: {{impression-material: polyether, arch: maxillary}}
  value: at least 2 mm
  obtained: reported
  reported-by: work-two
- {{parameter: stop-count, value: {"4" if name == "two" else "3"}, at: p. 2, obtained: read}}
- {{parameter: spacer-design, value: full-spacer, at: p. 3, obtained: recalled}}
- {{parameter: soak-cast, value: yes, obtained: practice, note: "said – as «they» say"}}
- {{parameter: relief-areas, value: {{includes: [rugae], excludes: [hard-palate]}}, obtained: read}}
- {{parameter: procedure, value: [draw-outline, adapt-spacer, cut-stops], obtained: read}}
"""


RULINGS = """\
rulings:
- {parameter: spacer-thickness, value: 2 mm, because: one sheet, decided-on: 2026-05-12, decided-by: board,
   review-by: 2027-05-12}
cases:
- {id: any-case, label: Any, when: {impression-material: polyether}, asks: [spacer-thickness, stop-count]}
"""
CASE = """\
label: Upper tray
case: {arch: maxillary, dentition: edentulous, impression-material: polyether}
area: 24 cm2
"""
PLAN = """\
title: Week one
arch: maxillary
depth: brief
figures: yes
chapters:
- {title: Spacer, of: [spacer-and-relief]}
- stops-and-holes
tables:
- {by: impression-material, of: [spacer-thickness, stop-count]}
"""
SHAPES = """\
@prefix bibo: <http://purl.org/ontology/bibo/> .
@prefix ours: <https://example.org/our-rules#> .
@prefix rule: <https://w3id.org/trayconcord/rule/> .
@prefix sh: <http://www.w3.org/ns/shacl#> .
@prefix tc: <https://w3id.org/trayconcord/def/> .
ours:page a sh:NodeShape ; sh:targetClass tc:Claim ; sh:message "no page" ;
  sh:property [ sh:path bibo:locator ; sh:minCount 1 ; sh:pattern "^p" ;
    sh:or ( [ sh:maxLength 9 ] [ sh:in ("p. 1") ] ) ] .
rule:single-voice sh:severity sh:Warning .
ours:query a sh:NodeShape ; sh:targetClass tc:Source ;
  sh:sparql [ sh:message "m" ; sh:select "SELECT $this WHERE { $this ?p ?o FILTER(?o = 1) }" ] .
"""


def triples_of(form: Form) -> Graph:
    graph = new_graph()
    if form.source:
        source_triples(graph, form.source)
    for claim in form.claims:
        claim_triples(graph, claim)
    for ruling in form.rulings:
        ruling_triples(graph, ruling)
    for case in form.cases:
        case_triples(graph, case)
    return graph


def turtle_of(text: str) -> bytes:
    return write_turtle(triples_of(WORLD.form(text)))


POLICY = b"""\
marking:
  pass: 70 %
  borderline: 1/2
  not-measured: zero
  decided-on: 2026-05-12
  decided-by: A group
  items:
  - {parameter: border-clearance, sites: [labial-sulcus], weight: 4, tolerance: 0.5 mm}
  - {parameter: spacer-thickness, when: {impression-material: polyether}, tolerance: 10 %, uncertainty: 0.2 mm}
  - {parameter: stop-count}
"""
