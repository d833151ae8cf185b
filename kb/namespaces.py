"""IRIs of the project and of the standard vocabularies it builds on.

Own terms live under https://w3id.org/trayconcord/ (not yet registered). Every own resource is
``<base><family>/<id>``; ids are kebab-case and public.
"""

from rdflib import Namespace, URIRef
from rdflib.namespace import DC, DCTERMS, OWL, PROV, RDF, RDFS, SKOS, VOID, XSD

_interned: dict[str, URIRef] = {}


def interned(iri: str) -> URIRef:
    """The one object for an IRI that comes up again and again: rdflib compares two objects at ten times the cost."""
    text = str(iri)  # an URIRef is not equal to the string it is
    return _interned.get(text) or _interned.setdefault(text, URIRef(text))


class _Namespace(Namespace):
    """A namespace that makes each of its terms once; rdflib's makes it anew, and looks at it, each time it is named."""

    def __getattr__(self, name: str) -> URIRef:
        term = interned(super().__getattr__(name))
        self.__dict__[name] = term
        return term


BASE = "https://w3id.org/trayconcord/"
TC = _Namespace(BASE + "def/")
"""Own classes and properties."""

AXIS = BASE + "axis/"
CASE = BASE + "case/"
CAUTION = BASE + "caution/"
CHAPTER = BASE + "chapter/"
CLAIM = BASE + "claim/"
CONCEPT = BASE + "concept/"
KIND = BASE + "kind/"
MARKING = BASE + "marking/"
OBTAINED = BASE + "obtained/"
PARAMETER = BASE + "parameter/"
RETIRED_ID = BASE + "retired-id/"
RULE = BASE + "rule/"
RULING = BASE + "ruling/"
SCHEME = BASE + "scheme/"
SOURCE = BASE + "source/"
TOPIC = BASE + "topic/"
VALUE_KIND = BASE + "value-kind/"
WRONG_ANSWER = BASE + "wrong-answer/"
OWN_UNIT = BASE + "unit/"

POLICY = "policy"
"""The id of a course's marking policy; the items of the policy lie beside it."""

BIBO = _Namespace("http://purl.org/ontology/bibo/")
DCAT = _Namespace("http://www.w3.org/ns/dcat#")
"""DCAT 3; the namespace that rdflib brings is that of an earlier version."""
SPDX = _Namespace("http://spdx.org/rdf/terms#")
QUDT = _Namespace("http://qudt.org/schema/qudt/")
UNIT = _Namespace("http://qudt.org/vocab/unit/")
QUANTITY = _Namespace("http://qudt.org/vocab/quantitykind/")

PREFIXES: dict[str, str] = {
    "axis": AXIS,
    "bibo": str(BIBO),
    "chapter": CHAPTER,
    "concept": CONCEPT,
    "dc": str(DC),
    "dcat": str(DCAT),
    "dcterms": str(DCTERMS),
    "kind": KIND,
    "obtained": OBTAINED,
    "owl": str(OWL),
    "parameter": PARAMETER,
    "prov": str(PROV),
    "quantitykind": str(QUANTITY),
    "qudt": str(QUDT),
    "rdf": str(RDF),
    "rdfs": str(RDFS),
    "scheme": SCHEME,
    "skos": str(SKOS),
    "source": SOURCE,
    "spdx": str(SPDX),
    "tc": str(TC),
    "tcunit": OWN_UNIT,
    "unit": str(UNIT),
    "wrong-answer": WRONG_ANSWER,
    "void": str(VOID),
    "xsd": str(XSD),
}


def local(iri: str, family: str) -> str:
    """The id of a resource: its IRI less the family's namespace; the IRI itself when it lies elsewhere."""
    text = str(iri)  # a plain one: rdflib's terms look at themselves in Python
    return text[len(family) :] if text.startswith(family) else text


def iri(family: str, identifier: str) -> URIRef:
    """The IRI of the resource with this id in a family (``CONCEPT``, ``SOURCE``, …)."""
    return unlooked(family + identifier)


def unlooked(text: str) -> URIRef:
    """An IRI without rdflib's look at its signs, which takes most of the time and ends in no more than a log entry."""
    return str.__new__(URIRef, text)
