"""Publishing: what is there afterwards is the store, whatever was there before and wherever an earlier run stopped."""

import pytest
from rdflib import Literal, URIRef
from rdflib.namespace import DCTERMS, RDF, VOID
from small_store import CHANGED, FIRST, LATER, enter_into
from sparql_servers import answer_with, say

from trayconcord.generators.cli import main
from trayconcord.kb.catalogue import CATALOGUE, GRAPHS, RETIRED, graph_of
from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.namespaces import TC
from trayconcord.kb.publish import publish
from trayconcord.kb.remote_store import load_remote
from trayconcord.kb.sparql_service import Service
from trayconcord.kb.sparql_terms import triple_text
from trayconcord.kb.store import load

NOTES = graph_of("sources", "harrow-vale.ttl")
LATER_NOTES = graph_of("sources", "later-notes.ttl")


def put(server, layer, **options):
    return publish(Service(server.url, pause=0.001), [layer], only=True, **options)


def held(server):
    """Everything that the service holds."""
    return {str(quad) for quad in server.store}


def updates(server):
    return [text for text in server.asked if not text.startswith("SELECT")]


def test_twice_changes_nothing(service, department):
    first = put(service, department)
    assert len(first.written) == 6 and not first.left
    before, sent = held(service), len(updates(service))
    second = put(service, department)
    assert (second.written, second.renamed, second.removed) == ([], [], [])
    assert second.left == first.written
    assert len(updates(service)) == sent
    assert held(service) == before


def test_one_source_changed_is_one_graph_replaced(service, department, forms):
    put(service, department)
    enter_into(department, forms(CHANGED))
    sent = len(updates(service))
    outcome = put(service, department)
    assert (outcome.written, outcome.removed, len(outcome.left)) == ([NOTES], [], 5)
    assert [str(LATER_NOTES) in text for text in updates(service)[sent:]] == [False] * 3  # lock, replace, release
    assert load_remote(Service(service.url)).hash == load([department], only=True).hash


def test_a_source_that_is_gone_goes_and_nothing_else(service, department):
    put(service, department)
    foreign = [URIRef("https://example.org/graph"), URIRef(GRAPHS + "sources/not-in-the-catalogue")]
    for graph in foreign:
        service.store.update(f"INSERT DATA {{ GRAPH <{graph}> {{ <urn:s> <urn:p> <urn:o> }} }}")
    lie = (foreign[0], RDF.type, VOID.Dataset), (foreign[0], DCTERMS.identifier, Literal("kb/sources/x.ttl"))
    service.store.update(f"INSERT DATA {{ GRAPH <{CATALOGUE}> {{ {' '.join(map(triple_text, lie))} }} }}")
    (department / "sources" / "later-notes.ttl").unlink()
    outcome = put(service, department)
    assert (outcome.written, outcome.removed) == ([], [LATER_NOTES])
    assert {str(graph) for graph in foreign} <= {graph.value for graph in service.store.named_graphs()}
    assert str(LATER_NOTES) not in " ".join(held(service))


def test_a_graph_that_somebody_else_changed_is_put_right(service, department):
    put(service, department)
    before = held(service)
    service.store.update(f"INSERT DATA {{ GRAPH <{NOTES}> {{ <urn:s> <urn:p> <urn:o> }} }}")
    assert put(service, department).written == [NOTES]
    service.store.update(f"DROP GRAPH <{LATER_NOTES}>")
    assert put(service, department).written == [LATER_NOTES]
    assert held(service) == before


def test_another_name_of_the_folder_changes_the_catalogue_alone(service, department, tmp_path):
    put(service, department)
    department.rename(tmp_path / "renamed")
    outcome = put(service, tmp_path / "renamed")
    assert (outcome.written, len(outcome.renamed), len(outcome.left)) == ([], 4, 2)
    found = load_remote(Service(service.url))
    assert found.places == load([tmp_path / "renamed"], only=True).places


def test_retired_ids_change_one_graph_and_go_with_their_file(service, department):
    put(service, department)
    path = department / "retired-ids.txt"
    path.write_text("# another remark\n" + path.read_text(encoding="utf-8"), encoding="utf-8")
    assert put(service, department).changes == 0
    path.write_text("claim/a/b | why\n" + path.read_text(encoding="utf-8"), encoding="utf-8")
    assert put(service, department).written == [RETIRED]
    assert load_remote(Service(service.url)).retired == load([department], only=True).retired
    path.unlink()
    outcome = put(service, department)
    assert (outcome.written, outcome.removed) == ([], [RETIRED])
    assert load_remote(Service(service.url)).retired == []
    assert "retired-id" not in " ".join(held(service))


def test_what_cannot_be_sent_is_told_before_anything_is(service, department):
    path = department / "sources" / "later-notes.ttl"
    path.write_text(path.read_text(encoding="utf-8") + "\n<1a:b> <urn:b> <urn:c> .\n", encoding="utf-8")
    with pytest.raises(UnusableInput, match=r"later-notes.ttl: <1a:b> is no IRI"):
        put(service, department)
    assert updates(service) == []


def test_a_dry_run_writes_nothing(service, department):
    outcome = put(service, department, dry_run=True)
    assert len(outcome.written) == 6
    assert updates(service) == []
    assert held(service) == set()


def test_a_store_that_cannot_be_read_is_not_published(service, department):
    put(service, department)
    before = held(service)
    (department / "sources" / "later-notes.ttl").write_text("no Turtle", encoding="utf-8")
    (department / "sources" / "harrow-vale.ttl").write_text("[] a [] .", encoding="utf-8")
    with pytest.raises(UnusableInput) as error:
        put(service, department)
    assert {str(complaint.place).rpartition("/")[2] for complaint in error.value.complaints} == {
        "harrow-vale.ttl:1", "later-notes.ttl:1",
    }  # fmt: skip
    assert held(service) == before


@pytest.mark.parametrize("done", [True, False], ids=["carried out", "not carried out"])
@pytest.mark.parametrize("number", range(8))
def test_cut_short_anywhere_it_is_completed_by_one_that_takes_over(number, done, service, department, forms, tmp_path):
    """After each update in turn the service fails: it may have carried it out, or not."""
    old = tmp_path / "old"
    enter_into(old, forms(FIRST.replace("1 mm", "7 mm")), forms(LATER.replace("later-notes", "other-notes")))
    put(service, old)
    honest, sent = answer_with(service.store), iter(range(100))

    def failing(handler, path, text):
        if path == "/update" and next(sent) == number:
            if done:
                service.store.update(text)
            say(handler, b"the disk is full", "text/plain", 500)
        else:
            honest(handler, path, text)

    service.answer = failing
    with pytest.raises(UnusableInput, match=r"failed \(500: the disk is full\)"):
        put(service, department)
    service.answer = honest
    if (number, done) not in ((0, False), (7, True)):  # nothing was done yet, or all
        for refused in (lambda: load_remote(Service(service.url)), lambda: put(service, department)):
            with pytest.raises(UnusableInput, match="is being published into, or that was cut short"):
                refused()
    put(service, department, take_over=True)
    wanted = load([department], only=True)
    found = load_remote(Service(service.url))
    assert (found.hash, found.places, found.retired) == (wanted.hash, wanted.places, wanted.retired)
    assert put(service, department).changes == 0


def test_a_service_that_does_not_keep_what_it_took_is_told(service, department):
    honest = answer_with(service.store)

    def forgetful(handler, path, text):
        honest(handler, path, text)
        if path == "/update" and str(NOTES) in text:
            service.store.update(f"DELETE WHERE {{ GRAPH <{NOTES}> {{ ?s <{TC.line}> ?o }} }}")

    service.answer = forgetful
    with pytest.raises(UnusableInput, match="does not hold what it took"):
        put(service, department)


def test_names_and_text_that_look_like_updates_are_names_and_text(service, department):
    hostile = "x> } } ; DROP ALL ; INSERT DATA { GRAPH <urn:a> { <urn:a> <urn:b> <c"
    text = (department / "sources" / "later-notes.ttl").read_text(encoding="utf-8")
    bad = '"""\\" } } ; DROP ALL # \\\\u0022 } } ; DROP ALL\n\\\\"""'
    (department / "sources" / f"{hostile.replace('/', '')}.ttl").write_text(
        text.replace("later-notes", "hostile").replace('"Later notes"', bad), encoding="utf-8"
    )
    put(service, department)
    found, wanted = load_remote(Service(service.url)), load([department], only=True)
    assert "DROP ALL" in wanted.sources["hostile"].title
    assert (found.hash, found.places) == (wanted.hash, wanted.places)


def test_what_was_done_is_told(service, department, forms, capsys):
    command = ["publish", "--kb", str(department), "--only", "--endpoint", service.url]
    assert main([*command, "--dry-run"]) == 0
    told = capsys.readouterr().out
    assert f"dry run: wrote {NOTES}\n" in told
    assert told.endswith(f"{service.url}: 6 graphs would change, 0 as they were\n")
    assert main(command) == 0
    assert f"wrote {NOTES}\n" in capsys.readouterr().out
    enter_into(department, forms(CHANGED))
    (department / "sources" / "later-notes.ttl").unlink()
    assert main(command) == 0
    assert capsys.readouterr().out == (
        f"wrote {NOTES}\nremoved {LATER_NOTES}\n{service.url}: 2 graphs changed, 4 as they were\n"
    )


def test_publish_needs_an_endpoint(capsys):
    with pytest.raises(SystemExit) as end:
        main(["publish"])
    assert end.value.code == 2
    assert "--endpoint" in capsys.readouterr().err
