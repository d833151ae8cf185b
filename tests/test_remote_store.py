"""A store read from a SPARQL service is the store of the files, or an error says why not.

The services here are Oxigraph's engine behind a server of ours, and ones that lie; the real one is in test_oxigraph.py.
"""

import json

import pytest
from rdflib import Literal, URIRef
from rdflib.namespace import RDF
from small_store import FIRST, LATER, enter_into
from sparql_servers import Loopback, answer_with, results, say

from trayconcord.generators.cli import main
from trayconcord.kb import namespaces as ns
from trayconcord.kb.catalogue import CATALOGUE, RETIRED
from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.namespaces import TC
from trayconcord.kb.publish import publish
from trayconcord.kb.remote_pages import Pages
from trayconcord.kb.remote_store import load_remote, stores_by_parameter
from trayconcord.kb.sparql_service import Service
from trayconcord.kb.sparql_terms import triple_text
from trayconcord.kb.store import load

CLAIM = ns.iri(ns.CLAIM, "harrow-vale/spacer-thickness")
THICKNESS = ns.iri(ns.PARAMETER, "spacer-thickness")


def put(server, layer, only=True):
    return publish(Service(server.url), [layer], only)


def read(server, layers=None):
    return load_remote(Service(server.url, pause=0.001), layers)


def add(server, triples, graph=None):
    """Put triples there by another way than `publish`."""
    lines = " ".join(triple_text(triple) for triple in triples)
    server.store.update(f"INSERT DATA {{ GRAPH <{graph}> {{ {lines} }} }}" if graph else f"INSERT DATA {{ {lines} }}")


def told(server, layers=None):
    with pytest.raises(UnusableInput) as error:
        read(server, layers)
    assert "fix: " in str(error.value)
    return str(error.value)


def same(found, wanted):
    """Whether two stores are the same in all that they say, and in where they say it."""
    assert found.hash == wanted.hash
    assert set(found.graph) == set(wanted.graph)
    for name in ("sources", "claims", "rulings", "cases", "former_rulings", "places", "retired"):
        assert getattr(found, name) == getattr(wanted, name), name
    return True


# --- what was published comes back ---


def test_a_published_store_comes_back_line_by_line(service, department):
    put(service, department)
    wanted = load([department], only=True)
    assert len(wanted.claims) == 3 and wanted.rulings and wanted.cases
    assert same(read(service), wanted)


def test_a_store_of_pages_comes_back(service, department, monkeypatch):
    monkeypatch.setattr(Pages.__init__, "__defaults__", (1, 2))
    put(service, department)
    assert same(read(service), load([department], only=True))
    assert sum("LIMIT 2 OFFSET 2" in query for query in service.asked) >= 2
    assert sum("VALUES" in query for query in service.asked) >= 6


def test_retired_ids_come_back_in_the_order_of_the_layers(service, department, tmp_path):
    (tmp_path / "over").mkdir()
    lines = "".join(f"claim/notes/{number} | number {number}\n" for number in range(12))
    shared = (department / "retired-ids.txt").read_text(encoding="utf-8").splitlines()[1]
    (tmp_path / "over" / "retired-ids.txt").write_text(f"{lines}{shared}\n", encoding="utf-8")
    layers = [department, tmp_path / "over"]
    wanted = load(layers, only=True).retired
    assert [len(load([layer], only=True).retired) for layer in layers] == [2, 13] and len(wanted) == 14
    put(service, department)
    assert read(service, layers[1:]).retired == wanted
    assert read(service, layers).retired == wanted
    publish(Service(service.url), layers, only=True)
    assert read(service).retired == wanted


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("INSERT DATA { GRAPH <%s> { <urn:s> <urn:p> 1 } }", "says something odd in "),
        ("DELETE WHERE { GRAPH <%s> { ?s <https://w3id.org/trayconcord/def/because> ?o } }", "says something odd in "),
        ("DROP GRAPH <%s>", None),
    ],
)
def test_retired_ids_that_somebody_changed_are_told(change, words, service, department):
    put(service, department)
    service.store.update(change % RETIRED)
    if words:
        assert f"{words}{RETIRED}" in told(service)
    else:
        assert read(service).retired == []
    put(service, department)
    assert same(read(service), load([department], only=True))


def test_retired_ids_of_which_rows_are_missing_are_told(service, department):
    def change(query, rows):
        rows[:] = [row for row in rows if not row.get("p", {}).get("value", "").endswith("because")]

    put(service, department)
    bent(service, change)
    assert f"triples counted in {RETIRED}, " in told(service)


def test_a_layer_lies_over_what_was_published(service, department, tmp_path, forms):
    put(service, department)
    over = tmp_path / "over"
    enter_into(over, forms(FIRST.replace("1 mm", "9 mm")))
    wanted = load([department, over], only=True)
    assert "9 mm" in {claim.printed for claim in wanted.claims}
    assert same(read(service, [over]), wanted)


def test_a_file_by_hand_comes_back_as_it_was_written(service, department):
    path = department / "sources" / "harrow-vale.ttl"
    text = path.read_text(encoding="utf-8").replace("tc:min 1.0", "tc:min 1.000").replace("tc:max 1.0", "tc:max 1")
    by_hand = """
    # a remark, and what a service would print otherwise
    <https://w3id.org/trayconcord/source/harrow-vale> tc:odd "x"@de-AT, 1.5E0, 07, "x"^^<http://www.w3.org/2001/XMLSchema#string> .
    <https://w3id.org/trayconcord/claim/misspelt> a tc:Clam ; tc:obtained "\\\\u0022 } ; DROP ALL #\\u0022" .
    <https://w3id.org/trayconcord/left> tc:odd tc:this .
    <https://w3id.org/trayconcord/claim/lost> a tc:Claim .
    """  # fmt: skip # noqa: E501
    path.write_text(text + by_hand, encoding="utf-8")
    wanted = load([department], only=True)
    assert "1.000" in {str(value) for value in wanted.graph.objects(None, TC.min)}
    put(service, department)
    assert same(read(service), wanted)


def test_parts_are_the_whole(service, department, tmp_path, forms):
    put(service, department)
    over = tmp_path / "over"
    enter_into(over, forms(LATER.replace("later-notes", "latest-notes")))
    whole = read(service, [over])
    parts = list(stores_by_parameter(Service(service.url), [over]))
    assert [claim for part in parts for claim in part.claims] == whole.claims
    assert {p: place for part in parts for p, place in part.places.items()}.items() <= whole.places.items()
    for part in parts:
        assert (part.sources, part.rulings, part.cases) == (whole.sources, whole.rulings, whole.cases)
        assert set(part.graph) < set(whole.graph)
    chosen = list(stores_by_parameter(Service(service.url), [over], "spacer-thickness"))
    assert [part.claims for part in chosen] == [whole.claims]
    assert [part.claims for part in stores_by_parameter(Service(service.url), None, "nothing> } ; DROP ALL")] == [[]]


@pytest.mark.parametrize(
    "command",
    ["check --all", "check --format json", "check --format sarif", "compare", "compare --format json",
     "compare spacer-thickness", "compare spacer-thickness?impression-material=polyether --format json",
     "why spacer-thickness impression-material=polyether",
     "agenda --format form", "form harrow-vale",
     "export --format json", "export --format turtle", "export --format yaml"],
)  # fmt: skip
def test_commands_print_the_same_bytes(command, service, department, capsys):
    put(service, department)
    printed = []
    for place in (["--kb", str(department), "--only"], ["--endpoint", service.url]):
        status = main([*command.split(), *place])
        printed.append((status, capsys.readouterr()))
    assert printed[0] == printed[1]
    assert printed[0][1].out


def test_an_empty_topic_and_a_misspelt_one(service, department, capsys):
    put(service, department)
    assert main(["compare", "spacer-thicknes", "--endpoint", service.url]) == 2
    assert "did you mean spacer-thickness?" in capsys.readouterr().err
    service.store.update(f"DELETE WHERE {{ GRAPH ?g {{ ?s <{TC.parameter}> ?o }} }}")
    for options, words in (([], "no source in the store speaks of this\n"), (["--format", "json"], '{\n  "topics": []\n}\n')):  # fmt: skip # noqa: E501
        assert main(["compare", "--endpoint", service.url, *options]) == 0
        assert capsys.readouterr().out == words


@pytest.mark.parametrize(
    "command",
    ["agenda", "plan impression-material=polyether", "why spacer-thickness arch=maxillary", "sheets --out sheets",
     "items", "terms", "compare", "demo demo", "explain"],
)  # fmt: skip
def test_no_command_opens_a_socket_unless_it_is_told_to(command, no_network, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TRAYCONCORD_ENDPOINT_USER", "somebody")
    assert main(command.split()) == 0


# --- stores that somebody else put there ---


@pytest.mark.parametrize("graph", [None, "https://example.org/a-graph"])
def test_a_foreign_store_is_read_from_wherever_it_lies(graph, service, department):
    wanted = load([department], only=True)
    add(service, wanted.graph, graph)
    add(service, [(URIRef("https://example.org/x"), RDF.type, URIRef("https://example.org/Person"))], graph)
    found = read(service)
    assert found.hash == wanted.hash
    assert {place.file for subject, place in found.places.items() if subject == CLAIM} == {graph or service.url}


@pytest.mark.parametrize("graph", [None, "https://example.org/a-graph?x=1", "urn:example:graph"])
def test_findings_of_a_foreign_store_name_its_graph_or_the_service(graph, service, department, capsys):
    add(service, load([department], only=True).graph, graph)
    assert main(["check", "--all", "--endpoint", service.url]) == 1
    assert f"\n{graph or service.url}: violation[unsupported-ruling] " in capsys.readouterr().out
    assert main(["check", "--format", "sarif", "--endpoint", service.url]) == 1
    results = json.loads(capsys.readouterr().out)["runs"][0]["results"]
    uris = {place["physicalLocation"]["artifactLocation"]["uri"] for found in results for place in found["locations"]}
    assert uris - {"kb/vocabulary/small.ttl"} == {graph or service.url}


def test_a_claim_spread_over_graphs_is_one_claim(service, department):
    wanted = load([department], only=True)
    for number, triple in enumerate(sorted(wanted.graph)):
        add(service, [triple], f"urn:g{number % 3}" if number % 4 else None)
    assert read(service).hash == wanted.hash


def test_a_service_without_claims_says_so(service, forms):
    assert "holds no claims" in told(service)


# --- services that contradict themselves ---


def bent(server, change):
    """The same service, whose results a function changes: it gets the query and the rows."""
    honest = answer_with(server.store)

    def answer(handler, path, text):
        if path == "/update":
            honest(handler, path, text)
            return
        document = json.loads(results(server.store, text))
        change(text, document["results"]["bindings"])
        say(handler, json.dumps(document).encode())

    server.answer = answer


def cut_pages(query, rows):
    if "VALUES" in query:
        del rows[3:]


def test_rows_that_a_service_leaves_out_are_missed(service, department):
    """As services do that cap their results without a word."""
    put(service, department)
    bent(service, cut_pages)
    assert "while it was read: 6 entries of the catalogue listed, 1 given" in told(service)


def test_names_that_a_service_leaves_out_are_asked_for(service, department):
    def cut_lists(query, rows):
        if "OFFSET" in query:
            del rows[2:]

    put(service, department)
    bent(service, cut_lists)
    assert same(read(service), load([department], only=True))


def test_rows_of_a_page_left_out_are_missed_by_the_count_of_their_graph(service, department):
    def change(query, rows):
        rows[:] = [row for row in rows if not row.get("p", {}).get("value", "").endswith("locator")]

    put(service, department)
    bent(service, change)
    assert "triples counted in https://w3id.org/trayconcord/graph/sources/harrow-vale, " in told(service)


@pytest.mark.parametrize(
    ("mark", "name", "value", "words"),
    [
        ("AS ?n", "n", {"type": "literal", "value": "many"}, "answers another question than it was asked"),
        ("AS ?n", "n", {"type": "literal", "value": "-1"}, "answers another question than it was asked"),
        ("AS ?n", "n", {"type": "literal", "value": "99"}, "contradicts itself"),
        ("AS ?n", "key", {"type": "literal", "value": "x"}, "holds no claims"),
        ("OFFSET", "s", {"type": "literal", "value": "x"}, "answers another question than it was asked"),
        ("OFFSET", "s", {"type": "uri", "value": "urn:other"}, "contradicts itself"),
        ("VALUES", "p", {"type": "literal", "value": "x"}, "answers another question than it was asked"),
        ("VALUES", "s", {"type": "uri", "value": "urn:other"}, "it speaks of what it was not asked"),
    ],
)
def test_answers_to_another_question_are_refused(mark, name, value, words, service, department):
    def change(query, rows):
        if mark in query:
            for row in rows:
                row[name] = value

    put(service, department)
    bent(service, change)
    assert words in told(service)


def test_a_service_that_ignores_limit_is_told(service, department, monkeypatch):
    monkeypatch.setattr(Pages.__init__, "__defaults__", (1, 1))
    put(service, department)
    honest = answer_with(service.store)
    service.answer = lambda handler, path, text: honest(handler, path, text.replace("LIMIT 1 ", ""))
    assert "does not keep to LIMIT: asked for 1 " in told(service)


def test_a_store_that_changes_while_it_is_read_is_told(service, department):
    put(service, department)
    honest = answer_with(service.store)
    new = ns.iri(ns.CLAIM, "new")

    def answer(handler, path, text):
        honest(handler, path, text)
        if "OFFSET" in text and "spacer-thickness" in text:
            add(service, [(new, RDF.type, TC.Claim), (new, TC.parameter, THICKNESS)], "urn:g")

    service.answer = answer
    assert "or the store changed while it was read" in told(service)
    service.store.update("DROP GRAPH <urn:g>")
    with pytest.raises(UnusableInput, match="or the store changed while it was read"):
        list(stores_by_parameter(Service(service.url)))


def test_a_publish_that_was_cut_short_is_told(service, department):
    put(service, department)
    add(service, [(CATALOGUE, TC.beingPublished, Literal(True))], CATALOGUE)
    assert "is being published into, or that was cut short" in told(service)
    with pytest.raises(UnusableInput, match="complete it with trayconcord publish --take-over"):
        list(stores_by_parameter(Service(service.url)))


def test_a_hostile_parameter_of_a_service_does_not_get_into_a_query(forms):
    answers = {"classes": [{"key": {"type": "uri", "value": str(TC.Claim)}, "n": {"type": "literal", "value": "1"}}]}
    answers["claims"] = [
        {"key": {"type": "uri", "value": "urn:x> } } ; DROP ALL #"}, "n": {"type": "literal", "value": "1"}}
    ]

    def answer(handler, path, text):
        rows = answers["claims" if "/parameter> ?key" in text else "classes"] if "?key" in text else []
        if "COUNT(DISTINCT ?s) AS ?n) WHERE { GRAPH" in text and "?key" not in text:
            rows = [{"n": {"type": "literal", "value": "0"}}]
        say(handler, json.dumps({"head": {}, "results": {"bindings": rows}}).encode())

    with Loopback(answer) as server:
        assert "is no IRI" in told(server)
        assert not any("DROP" in query for query in server.asked)
