"""Ids that are no longer in use."""

from pathlib import Path

import pytest
from rdflib import Literal, URIRef
from rdflib.namespace import DCTERMS, RDF

from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.namespaces import TC
from trayconcord.kb.retired import Retired, read_retired, retired_graph, retired_of
from trayconcord.kb.store import Store, load, shipped


def test_a_line_names_the_id_what_took_its_place_and_why(tmp_path: Path) -> None:
    (tmp_path / "retired-ids.txt").write_text(
        "# a remark\n\nclaim/a/stop-count -> claim/b/stop-count | entered twice\nconcept/gum | not a term\n"
    )
    assert read_retired(tmp_path) == [
        Retired("claim/a/stop-count", "claim/b/stop-count", "entered twice"),
        Retired("concept/gum", "", "not a term"),
    ]
    assert load([tmp_path], only=True).retired == read_retired(tmp_path)


def test_a_layer_without_the_file_has_none(tmp_path: Path) -> None:
    assert read_retired(tmp_path) == []
    assert load([tmp_path], only=True).retired == []


@pytest.mark.parametrize(
    "line", ["claim/a/stop-count", "stop-count | why", "claim/a -> | why", "claim/a -> b | why", "claim/a | "]
)
def test_a_line_that_cannot_be_read_is_told_with_its_number(tmp_path: Path, line: str) -> None:
    (tmp_path / "retired-ids.txt").write_text(f"# a remark\n{line}\n")
    with pytest.raises(UnusableInput, match=r"retired-ids.txt:2: is no line of a retired id\n    fix: write: claim/"):
        read_retired(tmp_path)


def test_a_file_that_is_no_text_is_told(tmp_path: Path) -> None:
    (tmp_path / "retired-ids.txt").write_bytes(b"\xff")
    with pytest.raises(UnusableInput, match="cannot be read as UTF-8 text"):
        read_retired(tmp_path)


def test_triples_say_the_list_in_its_order() -> None:
    listed = [Retired(f"claim/a/{number}", "claim/b" * (number % 2), f"reason {number}") for number in range(12)]
    assert retired_of(list(retired_graph(listed))) == listed
    assert retired_of([]) == []


@pytest.mark.parametrize("gone", [RDF.type, TC.order, TC.because, DCTERMS.identifier])
def test_triples_that_are_no_list_are_refused(gone: URIRef) -> None:
    triples = set(retired_graph([Retired("claim/a", "", "why")]))
    for odd in ({t for t in triples if t[1] != gone}, triples | {(URIRef("urn:s"), gone, Literal("odd"))}):
        with pytest.raises(ValueError):
            retired_of(odd)


def test_shipped_ids_that_were_retired_are_not_used_again(shipped_store: Store) -> None:
    vocabulary = shipped_store.vocabulary
    used = {f"claim/{claim.id}" for claim in shipped_store.claims}
    for family, table in (
        ("source", shipped_store.sources), ("parameter", vocabulary.parameters), ("axis", vocabulary.axes),
        ("concept", vocabulary.concepts), ("unit", vocabulary.units),
    ):  # fmt: skip
        used |= {f"{family}/{identifier}" for identifier in table}
    retired = read_retired(shipped())
    assert retired and shipped_store.retired == retired
    assert [old.id for old in retired] == sorted({old.id for old in retired})
    assert used.isdisjoint(old.id for old in retired)
    assert {old.replacement for old in retired} - {""} <= used
