"""SHACL engines side by side: what each finds for the same shapes and data, in one notation.

`ENGINES` names them; another one is a function in that table. A result is what every engine has to agree on: which
shape, at which node, along which path, for which value, how grave, and which kind of constraint.
"""

from collections.abc import Callable
from typing import NamedTuple

from rdflib import Graph, Literal, URIRef
from rdflib.namespace import RDF, SH


class Result(NamedTuple):
    """One validation result; empty where the report says nothing."""

    shape: str
    focus: str
    path: str
    value: str
    severity: str
    constraint: str


Engine = Callable[[Graph, Graph], frozenset[Result]]


def pyshacl_results(shapes: Graph, data: Graph) -> frozenset[Result]:
    """What pySHACL finds."""
    from pyshacl import validate

    _, report, _ = validate(data, shacl_graph=shapes, inplace=True, inference="none", do_owl_imports=False)
    assert isinstance(report, Graph)
    found = set()
    for node in report.subjects(RDF.type, SH.ValidationResult):
        about = dict(report.predicate_objects(node))
        names = (SH.sourceShape, SH.focusNode, SH.resultPath, SH.value, SH.resultSeverity, SH.sourceConstraintComponent)
        shape, focus, path, value, severity, constraint = (_text(about.get(name)) for name in names)
        found.add(Result(shape, focus, path, value, _last(severity), _last(constraint)))
    return frozenset(found)


def rudof_results(shapes: Graph, data: Graph) -> frozenset[Result]:
    """What the engine of pyrudof finds (https://rudof-project.github.io), written in Rust and apart from pySHACL."""
    import pyrudof

    rudof = pyrudof.Rudof(pyrudof.RudofConfig())
    rudof.read_data(data.serialize(format="nt"), pyrudof.RDFFormat.NTriples)
    rudof.read_shacl(shapes.serialize(format="turtle"), pyrudof.ShaclFormat.Turtle)
    return frozenset(
        Result(
            _bare(entry.source_shape),
            _bare(entry.focus_node),
            _bare(entry.path),
            _bare(entry.value),
            _last(entry.severity),
            _last(entry.constraint_component),
        )
        for entry in rudof.validate_shacl()
    )


ENGINES: dict[str, Engine] = {"pyshacl": pyshacl_results, "rudof": rudof_results}


def _text(term: object) -> str:
    return term.n3() if isinstance(term, Literal) else str(term) if isinstance(term, URIRef) else ""


def _bare(text: str | None) -> str:
    return "" if text is None else text.removeprefix("<").removesuffix(">")


def _last(iri: str | None) -> str:
    return (iri or "").rsplit("#", 1)[-1].rsplit("/", 1)[-1].removeprefix("sh:").casefold()
