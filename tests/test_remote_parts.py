"""A service is checked part by part, with the claims on one parameter held at a time, and says what the whole says."""

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from invented import enter_demo, enter_forms
from sparql_servers import honest_service

from trayconcord.generators.check_output import FORMATS, Told, text_of, together, told
from trayconcord.generators.cli import main
from trayconcord.kb.parts import Uncut
from trayconcord.kb.publish import publish
from trayconcord.kb.remote_parts import parts_of_service
from trayconcord.kb.remote_store import load_remote
from trayconcord.kb.sparql_service import Service
from trayconcord.kb.store import load
from trayconcord.shapes.check import check

DAY = date(2030, 1, 1)
PREFIXES = """
PREFIX tc: <https://w3id.org/trayconcord/def/>
PREFIX claim: <https://w3id.org/trayconcord/claim/>
PREFIX source: <https://w3id.org/trayconcord/source/>
PREFIX parameter: <https://w3id.org/trayconcord/parameter/>
PREFIX dcterms: <http://purl.org/dc/terms/>
PREFIX rdf: <http://www.w3.org/1999/02/22-rdf-syntax-ns#>
"""
OTHERS = """# Invented for a test.
source: {id: invented-others, title: Other notes, authors: ["Noone, Bo"], year: 2001, kind: textbook}
claims:
  - {parameter: stop-count, value: 7, at: p. 1, obtained: read}
  - {parameter: handle-length, value: 7 mm, obtained: recalled}
"""


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return enter_demo(tmp_path_factory.mktemp("service"))


@pytest.fixture
def published(demo: Path) -> Iterator[Any]:
    """A service that the demo was published into; what it holds is its ``store``."""
    with honest_service() as (server, store):
        server.store = store
        publish(Service(server.url), [demo], True)
        yield server


def by_parts(server: Any, form: str, layers: list[Path] | None = None) -> Told:
    parts = parts_of_service(Service(server.url, pause=0.001), layers)
    return together(told(check(part, today=DAY), form) for part in parts)


def whole(server: Any, form: str, layers: list[Path] | None = None) -> Told:
    return told(check(load_remote(Service(server.url, pause=0.001), layers), today=DAY), form)


def test_a_published_department_falls_apart_into_what_it_is(published: Any, demo: Path) -> None:
    for form in FORMATS:
        found = by_parts(published, form)
        assert found == told(check(load([demo], True), today=DAY), form)
    assert {"review-due", "uncovered-case", "contested-topic"} & {section.rule for section in found.sections}


def test_no_part_holds_claims_on_two_parameters(published: Any, demo: Path) -> None:
    parts = list(parts_of_service(Service(published.url)))
    assert max(len({claim.parameter for claim in part.claims}) for part in parts) == 1
    assert sorted(claim.id for part in parts for claim in part.claims) == [c.id for c in load([demo], True).claims]


def test_a_layer_over_the_service_is_checked_with_it(published: Any, demo: Path, tmp_path: Path) -> None:
    over = enter_forms(tmp_path, OTHERS)
    assert by_parts(published, "all", [over]) == told(check(load([demo, over], True), today=DAY), "all")


ODD = {
    "a claim without a parameter": ("cut", "INSERT DATA { claim:lost a tc:Claim ; dcterms:source source:nobody }"),
    "a claim on what nobody knows": ("cut", "INSERT DATA { claim:odd a tc:Claim ; tc:parameter parameter:oddness }"),
    "a claim on two parameters": (
        "uncut", "INSERT DATA { claim:two a tc:Claim ; tc:parameter parameter:stop-count, parameter:handle-length }",
    ),
    "a claim that is a source": (
        "uncut", "INSERT DATA { claim:both a tc:Claim, tc:Source ; tc:parameter parameter:stop-count ; tc:none true }",
    ),
    "a class that nobody knows": ("cut", "INSERT DATA { claim:odd a tc:Clam ; tc:parameter parameter:stop-count }"),
    "a claim of a class that nobody knows": (
        "uncut", "INSERT DATA { claim:odd a tc:Claim, tc:Clam ; tc:parameter parameter:stop-count }",
    ),
    "a source of no kind": ("cut", "INSERT DATA { source:new a tc:Source ; dcterms:title 'New' }"),
    "what is said of nobody": (
        "uncut",
        "INSERT { GRAPH ?g { <urn:x:nobody> dcterms:title 'x' } } "
        "WHERE { GRAPH ?g { ?s a tc:Source } } ",
    ),
    "claims of a graph of somebody's": (
        "cut",
        "INSERT DATA { GRAPH <urn:x:theirs> { claim:theirs a tc:Claim ; tc:parameter parameter:stop-count ; "
        "tc:min 3 ; tc:max 3 ; dcterms:source source:theirs } }",
    ),
    "no claims, but their lists": (
        "uncut", "DELETE { GRAPH ?g { ?s ?p ?o } } WHERE { GRAPH ?g { ?s a tc:Claim ; ?p ?o } }",
    ),
}  # fmt: skip


@pytest.mark.parametrize(
    "what", [pytest.param(what, marks=[pytest.mark.slow] * (number > 2)) for number, what in enumerate(ODD)]
)
def test_an_odd_service_says_what_it_says_as_a_whole(
    published: Any, what: str, capsys: pytest.CaptureFixture[str]
) -> None:
    expected, update = ODD[what]
    held = len(published.store)
    published.store.update(PREFIXES + update)
    assert len(published.store) != held
    outcome = "cut"
    try:
        assert by_parts(published, "all") == whole(published, "all")
    except Uncut:
        outcome = "uncut"
    assert outcome == expected
    main(["check", "--all", "--on", DAY.isoformat(), "--endpoint", published.url])

    assert capsys.readouterr().out == text_of(whole(published, "all")) + "\n"


def test_every_section_comes_from_one_part(published: Any) -> None:
    sections = by_parts(published, "json").sections
    assert len({(s.severity, s.rule, s.order, s.parameter) for s in sections}) == len(sections) > 5
