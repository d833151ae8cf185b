"""A real SPARQL 1.1 server, Oxigraph from PyPI, on the loopback interface: the same bytes as from files."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from urllib.request import Request, urlopen

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from invented import enter_demo
from literals import LITERALS
from rdflib import URIRef
from sparql_servers import oxigraph, oxigraph_service
from synthetic import write_sources, write_store

from trayconcord.generators.cli import main
from trayconcord.kb.catalogue import CATALOGUE, graph_of
from trayconcord.kb.namespaces import TC
from trayconcord.kb.publish import publish
from trayconcord.kb.remote_pages import Pages
from trayconcord.kb.remote_store import load_remote, stores_by_parameter
from trayconcord.kb.sparql_service import Service
from trayconcord.kb.sparql_terms import triple_text
from trayconcord.kb.store import load
from trayconcord.kb.turtle import write_turtle

pytestmark = [
    pytest.mark.service,
    pytest.mark.skipif(
        oxigraph() is None and os.environ.get("CI") != "true",
        reason="no Oxigraph server here (pip install oxigraph); continuous integration has one",
    ),
]

COMMANDS = [
    "check --all --on 2026-06-01", "check --format json --on 2026-06-01", "check --format sarif --on 2026-06-01",
    "compare", "compare --format json", "compare spacer-thickness",
    "compare tray-fit?impression-material=zinc-oxide-eugenol-paste --format json",
    "agenda --on 2026-06-01", "agenda --format form --on 2026-06-01", "plan arch=maxillary",
    "plan arch=mandibular impression-material=polyether tray-material=light-cured-resin area=24cm2 --format json",
    "plan arch=maxillary --format card", "why spacer-thickness arch=maxillary",
    "items --format json", "items --format csv", "form harrow-vale-2019",
    "export --format json", "export --format turtle", "export --format yaml",
]  # fmt: skip


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """The demo department's store, to be laid over the shipped one."""
    return enter_demo(tmp_path_factory.mktemp("demo"))


@pytest.fixture(scope="module")
def address(demo):
    """A service that holds the shipped store with the demo department over it."""
    with oxigraph_service() as address:
        publish(Service(address), [demo])
        yield address


@pytest.fixture
def empty():
    with oxigraph_service() as address:
        yield address


def printed(capsys, *arguments):
    status = main(list(arguments))
    return status, capsys.readouterr()


@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_prints_the_same_bytes(command, address, demo, capsys):
    words = command.split()
    found = printed(capsys, *words, "--endpoint", address)
    assert found == printed(capsys, *words, "--kb", str(demo))
    assert found[1].out


def test_the_site_the_sheets_and_the_export_are_the_same_bytes(address, demo, tmp_path, capsys):
    places = {"files": ["--kb", str(demo)], "service": ["--endpoint", address]}
    folders = {}
    for name, place in places.items():
        for command in ("build", "sheets", "export"):
            out = tmp_path / f"{name}-{command}"
            main([command, *place, "--out", str(out)])
            folders[name, command] = {p.relative_to(out): p.read_bytes() for p in out.rglob("*") if p.is_file()}
    for command in ("build", "sheets", "export"):
        assert folders["files", command] == folders["service", command]
    assert len(folders["files", "build"]) > 100
    assert main(["export", "--only", "--format", "json", "--out", str(tmp_path / "old.json")]) == 0
    capsys.readouterr()
    new = {name: str(tmp_path / f"{name}-export" / "rules.json") for name in places}
    notes = [printed(capsys, "changes", str(tmp_path / "old.json"), new[name], "--format", "notes") for name in places]
    assert notes[0] == notes[1]
    retired = json.loads(folders["service", "export"][Path("rules.json")])["deprecated"]
    assert retired and all(old["id"] in notes[0][1].out for old in retired)


def test_a_department_lies_over_a_published_shipped_store(empty, demo, capsys):
    publish(Service(empty), [])
    for command in ("check --format json --on 2026-06-01", "compare --format json"):
        over = ["--kb", str(demo)]
        assert printed(capsys, *command.split(), "--endpoint", empty, *over) == printed(capsys, *command.split(), *over)


def test_twice_changes_nothing_and_one_change_is_one_graph(empty, demo):
    assert len(publish(Service(empty), [demo]).written) > 250
    again = publish(Service(empty), [demo])
    assert (again.written, again.renamed, again.removed) == ([], [], [])
    path = demo / "sources" / "harrow-vale-2019.ttl"
    before = path.read_bytes()
    try:
        path.write_bytes(before + b"# a remark changes nothing\n")
        assert publish(Service(empty), [demo]).written == []
        path.write_bytes(before.replace(b"p. 6", b"p. 7"))
        assert publish(Service(empty), [demo]).written == [graph_of("sources", "harrow-vale-2019.ttl")]
    finally:
        path.write_bytes(before)


def test_killed_in_the_midst_it_is_completed_by_the_next(empty, demo):
    command = [sys.executable, "-m", "trayconcord.generators.cli", "publish", "--kb", str(demo), "--endpoint", empty]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    service = Service(empty)
    count = f"SELECT (COUNT(*) AS ?n) {{ GRAPH <{CATALOGUE}> {{ ?s <http://rdfs.org/ns/void#triples> ?o }} }}"
    for _ in range(2000):
        if int(str(service.select(count)[0]["n"])) > 20:
            break
        time.sleep(0.005)
    process.send_signal(signal.SIGKILL)
    process.wait()
    assert 20 < int(str(service.select(count)[0]["n"])) < 250, "killed too late to tell anything"
    service.close()
    refused = subprocess.run(
        [sys.executable, "-m", "trayconcord.generators.cli", "check", "--endpoint", empty],
        capture_output=True, text=True,
    )  # fmt: skip
    assert refused.returncode == 2
    assert "complete it with trayconcord publish --take-over" in refused.stderr
    assert publish(Service(empty), [demo], take_over=True).left
    assert load_remote(Service(empty)).hash == load([demo]).hash


@pytest.mark.parametrize("write", [write_store, write_sources])
def test_a_store_of_many_pages_comes_back(write, empty, tmp_path, monkeypatch):
    """Invented claims, whose Turtle is not in canonical form, in one document or in many."""
    monkeypatch.setattr(Pages.__init__, "__defaults__", (50, 120))
    write(tmp_path / "kb", 3_000)
    publish(Service(empty), [tmp_path / "kb"], only=True)
    wanted, found = load([tmp_path / "kb"], only=True), load_remote(Service(empty))
    assert (found.hash, found.claims, found.places) == (wanted.hash, wanted.claims, wanted.places)
    parts = [claim for store in stores_by_parameter(Service(empty)) for claim in store.claims]
    assert sorted(parts, key=lambda claim: claim.id) == wanted.claims


def test_a_service_whose_default_graph_is_all_of_them(demo):
    with oxigraph_service("--union-default-graph") as address:
        publish(Service(address), [demo], only=True)
        assert publish(Service(address), [demo], only=True).written == []
        wanted, found = load([demo], only=True), load_remote(Service(address))
    assert (found.hash, found.places) == (wanted.hash, wanted.places)


def test_turtle_that_others_loaded_is_read(empty, demo):
    """With another tool, into one graph, without a catalogue."""
    wanted = load([demo], only=True)
    graphs, kind = empty.replace("/query", "/store?default"), {"Content-Type": "text/turtle"}
    urlopen(Request(graphs, write_turtle(wanted.graph), kind, method="PUT")).close()
    found = load_remote(Service(empty))
    assert (found.hash, found.claims) == (wanted.hash, wanted.claims)


@pytest.fixture(scope="module")
def scratch(tmp_path_factory):
    """A service and a store of one document, for many stores one after the other."""
    layer = tmp_path_factory.mktemp("literals")
    (layer / "sources").mkdir()
    with oxigraph_service() as address:
        yield address, layer


@settings(suppress_health_check=[HealthCheck.too_slow], max_examples=10)
@given(literals=st.lists(LITERALS, min_size=1, max_size=60))
def test_a_file_with_any_literals_comes_back_as_it_was(scratch, literals):
    address, layer = scratch
    claim = URIRef("https://w3id.org/trayconcord/claim/x")
    lines = [f"<{claim}> a <{TC.Claim}> ."]
    lines += [triple_text((claim, URIRef(f"urn:p{number % 3}"), literal)) for number, literal in enumerate(literals)]
    (layer / "sources" / "x.ttl").write_text("\n".join(lines), encoding="utf-8", newline="\n")
    wanted = load([layer], only=True)
    publish(Service(address), [layer], only=True)
    assert set(load_remote(Service(address)).graph) == set(wanted.graph)
