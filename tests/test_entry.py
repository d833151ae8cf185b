"""Entering forms: all of them or none, and what then stands in the store. All sources are invented."""

from pathlib import Path

import pytest
from rdflib import Graph
from small_store import CHANGED, FIRST, LATER, RULED, enter_into, files, triples

from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.store import load
from trayconcord.kb.turtle import read_turtle, write_turtle

# --- refusals --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "bad",
    [
        "source: [",
        "",
        FIRST.replace("1 mm", "1 furlong"),
        FIRST.replace("polyether", "polyhedron"),
        FIRST + "- {parameter: spacer-thickness, value: 5 mm}\n",
        RULED.replace("2026-05-12", "yesterday"),
    ],
)
def test_a_refused_form_leaves_every_byte_of_the_store_as_it_was(tmp_path, forms, bad):
    target = tmp_path / "store"
    enter_into(target, forms(FIRST))
    enter_into(target, forms(RULED))
    before, times = files(target), {path: path.stat().st_mtime_ns for path in target.rglob("*")}
    with pytest.raises(UnusableInput):
        # The good forms beside it are not entered either.
        enter_into(target, forms(LATER), forms(bad), forms(CHANGED))
    assert files(target) == before
    assert {path: path.stat().st_mtime_ns for path in target.rglob("*")} == times


def test_a_refused_form_creates_no_store(tmp_path, forms):
    with pytest.raises(UnusableInput):
        enter_into(tmp_path / "store", forms("source: ["))
    assert not (tmp_path / "store").exists()


def test_every_mistake_of_every_form_is_told(tmp_path, forms):
    one, two = forms(FIRST.replace("1 mm", "1")), forms(CHANGED.replace("3 mm", "3 s"))
    with pytest.raises(UnusableInput) as error:
        enter_into(tmp_path / "store", one, two, tmp_path / "no-such-form.yaml")
    assert [(Path(c.place.file), c.place.line) for c in error.value.complaints] == [
        (one, 3),
        (two, 3),
        (tmp_path / "no-such-form.yaml", 0),
    ]


def test_the_same_record_in_two_forms_is_refused(tmp_path, forms):
    for text, words in [(FIRST, "source harrow-vale"), (RULED, "ruling spacer-thickness"), (RULED, "case any-case")]:
        one, two = forms(text), forms(text)
        with pytest.raises(UnusableInput) as error:
            enter_into(tmp_path / "store", one, two)
        assert any(f"{words} stands in {one} too" in complaint.message for complaint in error.value.complaints)
        assert {complaint.place.file for complaint in error.value.complaints} == {str(two)}
    assert not (tmp_path / "store").exists()


# --- what is written ------------------------------------------------------------------------------------------------


def test_what_was_written_and_what_was_replaced_is_told(tmp_path, forms):
    target = tmp_path / "store"
    first = enter_into(target, forms(FIRST), forms(RULED))
    names = ["cases/any-case.ttl", "rulings/spacer-thickness.ttl", "sources/harrow-vale.ttl"]
    assert (first.written, first.replaced) == (names, [])
    second = enter_into(target, forms(CHANGED), forms(LATER))
    assert second.written == ["sources/harrow-vale.ttl", "sources/later-notes.ttl"]
    assert second.replaced == ["sources/harrow-vale.ttl"]
    assert frozenset(second.store.graph) == triples(target)


def test_entering_a_form_again_changes_no_byte(tmp_path, forms):
    target = tmp_path / "store"
    enter_into(target, forms(FIRST), forms(RULED))
    before = files(target)
    enter_into(target, forms(FIRST), forms(RULED))
    assert files(target) == before


def test_every_file_written_is_in_canonical_form(tmp_path, forms):
    target = tmp_path / "store"
    enter_into(target, forms(FIRST), forms(RULED), forms(LATER))
    for data in files(target).values():
        graph = Graph(bind_namespaces="none")
        read_turtle(data, "x", graph)
        assert write_turtle(graph) == data


def test_rulings_on_one_parameter_are_kept_beside_each_other_until_replaced(tmp_path, forms):
    target = tmp_path / "store"
    enter_into(target, forms(FIRST))
    enter_into(target, forms(RULED))
    for_polyether = RULED.partition("cases:")[0].replace(
        "value: 2 mm", "when: {impression-material: polyether}, value: 3 mm"
    )
    enter_into(target, forms(for_polyether))
    rulings = {ruling.when: ruling for ruling in load([target], only=True).rulings}
    assert {when: ruling.printed for when, ruling in rulings.items()} == {
        (): "2 mm",
        (("impression-material", "polyether"),): "3 mm",
    }
    # Each notes what the sources said on the day.
    assert rulings[()].positions_then == ("1 mm: harrow-vale/spacer-thickness",)
    again = enter_into(target, forms(RULED.replace("value: 2 mm", "value: 1 mm")))
    assert again.replaced == ["cases/any-case.ttl", "rulings/spacer-thickness.ttl"]
    assert sorted(ruling.printed for ruling in load([target], only=True).rulings) == ["1 mm", "3 mm"]
