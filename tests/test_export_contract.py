"""The contract of the rule export: every file of the folder says the same, and what is said of it is true."""

import hashlib
import json
import re
from pathlib import Path
from typing import Any

import pytest
import yaml
from html_tree import parse
from hypothesis import given
from hypothesis import strategies as st
from invented import enter_demo
from jsonschema import Draft202012Validator
from pyld import jsonld
from rdflib import Graph, Literal, URIRef
from rdflib.namespace import DCTERMS, OWL, RDF, VOID, XSD

from trayconcord.generators.cli import main
from trayconcord.generators.export import rules_document
from trayconcord.generators.export_context import graph_of
from trayconcord.generators.export_dataset import DATASET
from trayconcord.generators.export_files import contract_text, export_files, one_file
from trayconcord.generators.yaml_text import yaml_text
from trayconcord.kb.canonical import canonical_hash
from trayconcord.kb.namespaces import DCAT, SPDX, TC
from trayconcord.kb.store import Store
from trayconcord.shapes.check import Report
from trayconcord.shapes.compare import Comparison

Files = dict[str, bytes]
SCHEMA = json.loads(contract_text("rules.schema.json"))
YAML_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


@pytest.fixture(scope="module")
def demo(demo_store: Store) -> Files:
    return export_files(demo_store, Comparison(demo_store))


@pytest.fixture(scope="module")
def document(demo: Files) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(demo["rules.json"])
    return found


@pytest.fixture(scope="module")
def graph(demo: Files) -> Graph:
    return Graph().parse(data=demo["rules.ttl"], format="turtle")


@pytest.fixture(scope="module")
def described(demo: Files) -> Graph:
    return Graph().parse(data=demo["dataset.ttl"], format="turtle")


# --- JSON Schema ---


def test_the_schema_is_one_of_its_draft() -> None:
    Draft202012Validator.check_schema(SCHEMA)
    assert SCHEMA["$schema"] == "https://json-schema.org/draft/2020-12/schema"


def test_the_export_keeps_the_schema(demo: Files, ruled_report: Report) -> None:
    validator = Draft202012Validator(SCHEMA)
    assert list(validator.iter_errors(json.loads(demo["rules.json"]))) == []
    assert list(validator.iter_errors(yaml.load(demo["rules.yaml"], YAML_LOADER))) == []
    ruled = json.loads(one_file("json", rules_document(ruled_report.store, ruled_report.comparison)))
    assert list(validator.iter_errors(ruled)) == []
    # what the schema describes occurs
    described = {key for part in (SCHEMA, *SCHEMA["$defs"].values()) for key in part.get("properties", {})}
    seen = keys_in({**ruled, "@context": {}})
    assert described <= seen


def keys_in(part: Any) -> set[str]:
    if isinstance(part, list):
        return {key for member in part for key in keys_in(member)}
    return {key for name, value in part.items() for key in {name} | keys_in(value)} if isinstance(part, dict) else set()


def rule(document: dict[str, Any], **wanted: str) -> dict[str, Any]:
    """The first rule with these values of its keys; basis "" means without one."""
    found: dict[str, Any] = next(
        rule for rule in document["rules"] if all(rule.get(key, "") == value for key, value in wanted.items())
    )
    return found


def value_of(document: dict[str, Any]) -> Any:
    return rule(document, basis="agreement")["value"]


def contested(document: dict[str, Any]) -> Any:
    return rule(document, standing="contested", basis="")


BREAKS = {
    "a contested topic with a value": lambda d: contested(d).update(value=value_of(d)),
    "a contested topic with a basis": lambda d: contested(d).update(basis="agreement"),
    "a contested topic with one position": lambda d: contested(d)["positions"].__delitem__(slice(1, None)),
    "one voice with a value": lambda d: rule(d, standing="single").update(value=value_of(d), basis="agreement"),
    "an agreed topic without a value": lambda d: rule(d, basis="agreement").pop("value"),
    "a ruled topic without a value": lambda d: rule(d, basis="ruling").pop("value"),
    "a ruling as an agreement": lambda d: rule(d, basis="ruling").update(basis="agreement"),
    "a position that cites nothing": lambda d: rule(d)["positions"][0].update(claims=[]),
    "a number that a parser rounds": lambda d: rule(d, parameter="stop-count")["positions"][0].update(min=3),
    "a number with an exponent": lambda d: rule(d, parameter="stop-count")["positions"][0].update(min="3e0"),
    "a range and a concept": lambda d: rule(d, parameter="stop-count")["positions"][0].update(concept="maxillary"),
    "a quantity without a unit": lambda d: rule(d, parameter="stop-count")["positions"][0].pop("unit"),
    "a standing that is none": lambda d: rule(d).update(standing="settled"),
    "an unknown key": lambda d: rule(d).update(confidence="high"),
    "a claim without a source": lambda d: d["claims"][0].pop("source"),
    "a ruling without a reason": lambda d: d["rulings"][0].pop("because"),
    "a policy without its items": lambda d: d["marking"].pop("items"),
    "a tolerance without a unit": lambda d: next(i for i in d["marking"]["items"] if "unit" in i).pop("unit"),
    "another format": lambda d: d.update(format=2),
    "no licence": lambda d: d.pop("licence"),
}


@pytest.mark.parametrize("name", BREAKS)
def test_the_schema_refuses(name: str, document: dict[str, Any]) -> None:
    broken = json.loads(json.dumps(document))
    BREAKS[name](broken)
    assert broken != document
    assert not Draft202012Validator(SCHEMA).is_valid(broken)


# --- JSON-LD ---


def no_network(url: str, options: object) -> None:
    raise AssertionError(f"a context is fetched: {url}")


def hash_by_pyld(document: dict[str, Any]) -> str:
    options = {"algorithm": "URDNA2015", "format": "application/n-quads", "documentLoader": no_network}
    canonical = jsonld.normalize(document, options)
    assert isinstance(canonical, str)
    return hashlib.sha256(canonical.encode()).hexdigest()


def test_json_and_turtle_are_the_same_triples(
    demo: Files, document: dict[str, Any], graph: Graph, described: Graph, no_network: None
) -> None:
    """By rdflib's Turtle, rdflib's JSON-LD and PyLD, compared by the hash of RDFC-1.0 that the description names."""
    (told,) = described.objects(DATASET, TC.graphHash)
    assert canonical_hash(graph) == str(told)
    assert canonical_hash(Graph().parse(data=demo["rules.json"], format="json-ld")) == str(told)
    assert hash_by_pyld(document) == str(told)


@pytest.mark.slow
def test_json_and_turtle_are_the_same_triples_with_all_that_ships(ruled_report: Report) -> None:
    files = export_files(ruled_report.store, ruled_report.comparison)
    told = canonical_hash(Graph().parse(data=files["rules.ttl"], format="turtle"))
    assert canonical_hash(Graph().parse(data=files["rules.json"], format="json-ld")) == told
    assert hash_by_pyld(json.loads(files["rules.json"])) == told


def test_every_key_means_something(demo: Files, document: dict[str, Any]) -> None:
    terms = document["@context"]
    assert json.loads(demo["context.jsonld"]) == {"@context": terms}
    body = {key: part for key, part in document.items() if key != "@context"}
    axes = {axis["id"] for axis in document["axes"]}
    assert keys_in(body) - {"@type", "@value"} <= set(terms)
    assert {record["type"] for record in document["rules"]} <= set(terms)
    assert axes <= set(terms)
    assert None not in terms.values()


def test_a_changed_value_changes_the_graph(document: dict[str, Any], graph: Graph) -> None:
    changed = json.loads(json.dumps(document))
    rule(changed, parameter="stop-count")["positions"][0]["min"] = "7.0"
    assert canonical_hash(graph_of(changed)) != canonical_hash(graph) == canonical_hash(graph_of(document))


# --- YAML ---


def test_yaml_is_the_same_object(demo: Files, document: dict[str, Any]) -> None:
    assert yaml.load(demo["rules.yaml"], YAML_LOADER) == document
    assert yaml.load(contract_yaml(), YAML_LOADER) == SCHEMA


def contract_yaml() -> str:
    return yaml_text(SCHEMA)


PLAIN = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**20), 10**20)
    | st.text()
    | st.sampled_from(["no", "1e3", "12:30", "~"]),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text() | st.just("yes"), inner, max_size=4),
    max_leaves=20,
)


@given(st.dictionaries(st.text(max_size=5), PLAIN, max_size=4))
def test_whatever_is_written_as_yaml_reads_back_the_same(part: dict[str, Any]) -> None:
    assert yaml.load(yaml_text(part), YAML_LOADER) == part


# --- DCAT and VoID ---


def test_the_counts_of_the_description_are_true(graph: Graph, described: Graph) -> None:
    def told(term: URIRef, subject: Any = DATASET) -> int:
        (literal,) = described.objects(subject, term)
        assert isinstance(literal, Literal) and literal.datatype == XSD.integer
        return int(literal)

    rows = graph.query("SELECT (COUNT(*) AS ?n) (COUNT(DISTINCT ?s) AS ?d) (COUNT(DISTINCT ?o) AS ?e) { ?s ?p ?o }")
    ((triples, subjects, objects),) = rows  # type: ignore[misc]
    assert told(VOID.triples) == int(triples) == len(graph)
    assert (told(VOID.distinctSubjects), told(VOID.distinctObjects)) == (int(subjects), int(objects))
    ((entities,),) = graph.query("SELECT (COUNT(DISTINCT ?s) AS ?n) { ?s a ?c }")  # type: ignore[misc]
    assert told(VOID.entities) == int(entities)
    for part, term, amount, query in (
        (VOID.classPartition, VOID["class"], VOID.entities, "SELECT ?c (COUNT(?s) AS ?n) { ?s a ?c } GROUP BY ?c"),
        (VOID.propertyPartition, VOID.property, VOID.triples, "SELECT ?p (COUNT(*) AS ?n) { ?s ?p ?o } GROUP BY ?p"),
    ):
        parts = {described.value(node, term): told(amount, node) for node in described.objects(DATASET, part)}
        assert parts == {row[0]: int(row[1]) for row in graph.query(query)}  # type: ignore[index]
    assert told(VOID.classes) == len(list(described.objects(DATASET, VOID.classPartition)))
    assert told(VOID.properties) == len(list(described.objects(DATASET, VOID.propertyPartition)))


def test_each_file_is_described_by_its_size_its_hash_and_its_licence(demo: Files, described: Graph) -> None:
    names = set()
    for node in described.objects(DATASET, DCAT.distribution):
        name = str(described.value(node, DCTERMS.title))
        names.add(name)
        assert str(node) == f"{DATASET}/{name}"
        assert int(described.value(node, DCAT.byteSize)) == len(demo[name])  # type: ignore[arg-type]
        checksum = described.value(node, SPDX.checksum)
        assert described.value(checksum, SPDX.algorithm) == SPDX.checksumAlgorithm_sha256
        assert str(described.value(checksum, SPDX.checksumValue)).lower() == hashlib.sha256(demo[name]).hexdigest()
        assert described.value(node, DCTERMS.license) == described.value(DATASET, DCTERMS.license)
        assert str(described.value(node, DCAT.mediaType)).startswith("https://www.iana.org/assignments/media-types/")
    assert names == {name for name in demo if re.fullmatch(r"rules\.(json|ttl|yaml)|\w+\.csv", name)}


def test_the_description_tells_version_store_and_the_newest_date_in_the_data(
    document: dict[str, Any], described: Graph
) -> None:
    assert {DCAT.Dataset, VOID.Dataset} <= set(described.objects(DATASET, RDF.type))
    assert str(described.value(DATASET, DCAT.version)) == document["version"]
    assert str(described.value(DATASET, TC.storeHash)) == document["store"]["hash"]
    assert described.value(DATASET, DCTERMS.license) == URIRef(document["licence"])
    assert described.value(DATASET, DCTERMS.modified) == Literal("2026-05-12", datatype=XSD.date)
    assert str(described.value(DATASET, VOID.exampleResource)) in {
        f"https://w3id.org/trayconcord/topic/{rule['id']}" for rule in document["rules"]
    }


# --- deprecations ---


def test_what_is_deprecated_names_what_took_its_place(shipped_store: Store) -> None:
    document = rules_document(shipped_store, Comparison(shipped_store))
    claims = {f"claim/{claim['id']}" for claim in document["claims"]}
    assert document["deprecated"]
    for old in document["deprecated"]:
        assert old["id"] not in claims and old["because"]
        assert "replaced-by" not in old or old["replaced-by"] in claims
    assert any("replaced-by" in old for old in document["deprecated"])
    graph = graph_of(document)
    retired = set(graph.subjects(OWL.deprecated, Literal(True)))
    assert retired == {URIRef(document["namespace"] + old["id"]) for old in document["deprecated"]}
    for subject in retired:
        for replacement in graph.objects(subject, DCTERMS.isReplacedBy):
            assert (replacement, RDF.type, TC.Claim) in graph


# --- the page, and where the files lie ---


def test_the_page_documents_every_file_and_every_key(demo: Files) -> None:
    page = parse(demo["index.html"].decode())
    links = {a.attributes["href"] for a in page.all("a")}
    assert links - {"https://creativecommons.org/licenses/by/4.0/"} == set(demo) - {"index.html"}
    text = " ".join(page.text.split())
    for part in (SCHEMA, *SCHEMA["$defs"].values()):
        for key, about in part.get("properties", {}).items():
            assert key in text and about["description"] in text, key
    (example,) = page.all("pre")
    assert example.text == " ".join(contract_text("answer.py").split())
    assert not list(page.all("script"))
    assert "not registered" in text


def test_a_site_holds_the_files_that_the_command_writes(
    demo_store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    layer = enter_demo(tmp_path)
    monkeypatch.chdir(tmp_path)
    options = ["--kb", str(layer), "--only"]
    assert main(["export", *options]) == 0
    assert re.search(r"wrote \d+ files to export; start at export.index.html", capsys.readouterr().out)
    written = {path.name: path.read_bytes() for path in Path("export").iterdir() if not path.name.startswith(".")}
    assert main(["build", *options, "--out", "site"]) in (0, 1)
    assert written == {path.name: path.read_bytes() for path in Path("site/export").iterdir()}
    capsys.readouterr()
    for form, name in (("json", "rules.json"), ("turtle", "rules.ttl"), ("yaml", "rules.yaml")):
        assert main(["export", *options, "--format", form]) == 0
        assert capsys.readouterr().out.encode() == written[name]
        assert main(["export", *options, "--format", form, "--out", "one"]) == 0
        assert Path("one").read_bytes() == written[name]
        capsys.readouterr()
    assert main(["export", *options, "--format", "json", "--out", "nowhere/one"]) == 2
    assert "nowhere/one: cannot be written" in capsys.readouterr().err


def test_a_folder_of_somebody_else_is_left_alone(demo_store: Store, tmp_path: Path) -> None:
    (tmp_path / "export").mkdir()
    (tmp_path / "export" / "thesis.txt").write_text("ten years of work")
    assert main(["export", "--only", "--out", str(tmp_path / "export")]) == 2
    assert [path.name for path in (tmp_path / "export").iterdir()] == ["thesis.txt"]
