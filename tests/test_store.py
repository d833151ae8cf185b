"""The store as it ships, and layers over it."""

from pathlib import Path

import pytest

from trayconcord.kb import namespaces as ns
from trayconcord.kb.errors import Place, UnusableInput
from trayconcord.kb.grammar import parse_quantity
from trayconcord.kb.store import layer_files, load, shipped
from trayconcord.kb.values import Nothing, Quantity

# Invented claims about an invented work, for laying over the shipped store.
INVENTED = """@prefix parameter: <https://w3id.org/trayconcord/parameter/> .
@prefix source: <https://w3id.org/trayconcord/source/> .
@prefix dcterms: <http://purl.org/dc/terms/> .
@prefix tc: <https://w3id.org/trayconcord/def/> .
@prefix qudt: <http://qudt.org/schema/qudt/> .
@prefix unit: <http://qudt.org/vocab/unit/> .

source:harrow-vale a tc:Source ;
    dcterms:title "{title}" .

<https://w3id.org/trayconcord/claim/harrow-vale/spacer-thickness> a tc:Claim ;
    tc:parameter parameter:spacer-thickness ;
    dcterms:source source:harrow-vale ;
    {value} .
"""
TWO_MILLIMETRES = "qudt:hasUnit unit:MilliM ; tc:min 2.0 ; tc:max 2.0"


def layer(folder, name="harrow-vale.ttl", title="Bench handout", value=TWO_MILLIMETRES, part="sources"):
    (folder / part).mkdir(parents=True, exist_ok=True)
    text = INVENTED.replace("{title}", title).replace("{value}", value)
    (folder / part / name).write_text(text, encoding="utf-8")
    return folder


# --- records and places -----------------------------------------------------------------------------------------------


def test_what_is_stored_is_what_the_printed_quantity_says(shipped_store):
    vocabulary = shipped_store.vocabulary
    quantities = [claim for claim in shipped_store.claims if isinstance(claim.value, Quantity)]
    assert len(quantities) > 100
    for claim in shipped_store.claims:
        parameter = vocabulary.parameters[claim.parameter]
        if parameter.kind in ("interval", "count"):
            assert isinstance(claim.value, Quantity | Nothing)
            assert parse_quantity(claim.printed, parameter, vocabulary) == claim.value, claim.id


def test_places_point_at_the_line_where_a_claim_or_source_starts(shipped_store):
    lines = {}
    for subject, place in shipped_store.places.items():
        if place.file not in lines:
            path = shipped() / place.file.removeprefix("kb/")
            lines[place.file] = path.read_text(encoding="utf-8").split("\n")
        names = [f"<{subject}> "]
        names += [f"{prefix}:{ns.local(subject, family)} " for prefix, family in ns.PREFIXES.items()]
        assert lines[place.file][place.line - 1].startswith(tuple(names)), str(place)
    assert len(shipped_store.places) > len(shipped_store.claims)


def test_an_unknown_claim_has_no_place(shipped_store):
    assert shipped_store.place_of_claim("nobody/nothing") == Place("unknown file")


def test_the_claims_of_a_source_are_its_own(shipped_store):
    source = max(shipped_store.sources, key=lambda source: len(shipped_store.claims_of(source)))
    claims = shipped_store.claims_of(source)
    assert len(claims) > 5
    assert {claim.source for claim in claims} == {source}
    assert [claim.id for claim in claims] == sorted(claim.id for claim in claims)


# --- layers ----------------------------------------------------------------------------------------------------------


def test_only_leaves_the_shipped_sources_out_but_never_the_vocabulary(tmp_path, vocabulary):
    store = load([layer(tmp_path)], only=True)
    assert set(store.sources) == {"harrow-vale"}
    assert [claim.id for claim in store.claims] == ["harrow-vale/spacer-thickness"]
    assert set(store.vocabulary.parameters) == set(vocabulary.parameters)


def test_a_layer_adds_to_the_shipped_store(tmp_path, shipped_store):
    store = load([layer(tmp_path)])
    assert set(store.sources) == {*shipped_store.sources, "harrow-vale"}
    assert len(store.claims) == len(shipped_store.claims) + 1
    assert store.place_of_claim("harrow-vale/spacer-thickness") == Place(str(tmp_path / "sources/harrow-vale.ttl"), 11)


def test_a_file_takes_the_place_of_the_file_of_its_name(tmp_path, shipped_store):
    name = "komiyama-2004"
    assert shipped_store.claims_of(name)
    store = load([layer(tmp_path, name=f"{name}.ttl")])
    assert store.claims_of(name) == []
    assert name not in store.sources
    assert "harrow-vale" in store.sources


def test_the_later_of_two_layers_counts(tmp_path):
    early, late = layer(tmp_path / "early", title="Early"), layer(tmp_path / "late", title="Late")
    assert load([early, late], only=True).sources["harrow-vale"].title == "Late"
    assert load([late, early], only=True).sources["harrow-vale"].title == "Early"


def test_a_layer_may_replace_a_part_of_the_vocabulary(tmp_path):
    (tmp_path / "vocabulary").mkdir()
    text = (shipped() / "vocabulary/regions.ttl").read_text(encoding="utf-8")
    (tmp_path / "vocabulary/regions.ttl").write_text(text.replace('"buccal shelf"@en', '"shelf"@en'), encoding="utf-8")
    assert load([tmp_path], only=True).vocabulary.concepts["buccal-shelf"].label == "shelf"


def test_an_overlay_is_read_as_if_it_lay_there(tmp_path):
    data = INVENTED.replace("{title}", "Overlaid").replace("{value}", TWO_MILLIMETRES).encode()
    not_yet = tmp_path / "not-yet"
    store = load([not_yet], only=True, overlay={"sources/harrow-vale.ttl": data})
    assert store.sources["harrow-vale"].title == "Overlaid"
    assert store.place_of_claim("harrow-vale/spacer-thickness").file == str(not_yet / "sources/harrow-vale.ttl")
    assert not not_yet.exists()


def test_files_are_loaded_in_one_order(tmp_path):
    names = list(layer_files([layer(tmp_path)], False, {}))
    folders = [Path(name).parent.name for name in names]
    assert folders == sorted(folders, key=["vocabulary", "sources", "rulings", "cases"].index)
    assert names == list(layer_files([tmp_path], False, {}))


def test_a_folder_that_is_missing_is_told_plainly(tmp_path):
    missing = tmp_path / "nowhere"
    for path in (missing, layer(tmp_path) / "sources" / "harrow-vale.ttl"):
        with pytest.raises(UnusableInput) as error:
            load([path])
        (complaint,) = error.value.complaints
        assert complaint.place == Place(str(path))
        assert complaint.message == "is not a folder"
        assert "add a form" in complaint.fix


def test_every_file_that_cannot_be_read_is_named(tmp_path):
    layer(tmp_path, name="one.ttl", value="tc:min [] ")
    layer(tmp_path, name="two.ttl", value="tc:min")
    (tmp_path / "sources" / "three.ttl").mkdir()
    with pytest.raises(UnusableInput) as error:
        load([tmp_path], only=True)
    places = [(Path(c.place.file).name, c.place.line) for c in error.value.complaints]
    assert places == [("one.ttl", 14), ("three.ttl", 0), ("two.ttl", 14)]
    assert "cannot be read" in error.value.complaints[1].message


@pytest.mark.parametrize(
    ("value", "rule", "words"),
    [
        ("qudt:hasUnit unit:SEC ; tc:min 2.0 ; tc:max 2.0", "wrong-dimension", "does not measure"),
        ("qudt:hasUnit unit:FURLONG ; tc:min 2.0", "unknown-term", "FURLONG"),
        ("qudt:hasUnit unit:MilliM ; tc:min 3.0 ; tc:max 2.0", "inverted-range", "from 3 to 2"),
        ("qudt:hasUnit unit:MilliM ; tc:min 2.0, 3.0", "malformed-value", "2 values"),
        ('qudt:hasUnit unit:MilliM ; tc:min "two"', "malformed-value", "two"),
        ("qudt:hasUnit unit:MilliM ; tc:min 2e0", "malformed-value", "exact"),
        ("tc:min 2.0", "malformed-value", "without a unit"),
        ('tc:printed "2 mm"', "malformed-value", "no value"),
        ("tc:yes true", "malformed-value", "a quantity"),
        ("tc:choice <https://w3id.org/trayconcord/concept/rugae>", "malformed-value", "a quantity"),
    ],
)
def test_a_value_that_cannot_be_read_is_kept_as_a_trouble_of_its_claim(tmp_path, value, rule, words):
    (claim,) = load([layer(tmp_path, value=value)], only=True).claims
    assert claim.value is None
    assert [trouble.rule for trouble in claim.troubles] == [rule]
    assert words in claim.troubles[0].message


def test_a_quantity_that_keeps_no_printed_text_is_spelt_out_exactly(tmp_path: Path) -> None:
    (tmp_path / "sources").mkdir()
    (tmp_path / "sources" / "hand.ttl").write_text(
        """
        @prefix tc: <https://w3id.org/trayconcord/def/> .
        @prefix owl: <http://www.w3.org/2002/07/owl#> .
        @prefix qudt: <http://qudt.org/schema/qudt/> .
        @prefix unit: <http://qudt.org/vocab/unit/> .
        <https://w3id.org/trayconcord/claim/hand/spacer-thickness> a tc:Claim ;
            tc:parameter <https://w3id.org/trayconcord/parameter/spacer-thickness> ;
            tc:min 0.5 ; tc:max "2/3"^^owl:rational ; qudt:hasUnit unit:MilliM .
        """
    )
    store = load([tmp_path], only=True)
    (claim,) = store.claims
    assert claim.printed == "0.5 to 2/3 mm"
    parameter = store.vocabulary.parameters["spacer-thickness"]
    assert parse_quantity(claim.printed, parameter, store.vocabulary) == claim.value


def test_a_store_that_changes_while_it_is_read_is_read_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "sources" / "one.ttl"
    path.parent.mkdir()
    text = "<https://w3id.org/trayconcord/source/{}> a <https://w3id.org/trayconcord/def/Source> ."
    path.write_text(text.format("old"))

    def read_and_replace(file: Path) -> bytes:
        data = file.read_bytes()
        if file == path and b"old" in data:
            fresh = path.with_suffix(".new")
            fresh.write_text(text.format("new"))
            fresh.replace(path)
        return data

    monkeypatch.setattr("trayconcord.kb.store.read_regular", read_and_replace)
    assert set(load([tmp_path], only=True).sources) == {"new"}


def test_a_document_that_is_moved_home_while_the_store_is_read_is_read_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A move changes neither inode nor time nor size, so the stamps are the same before and after."""
    waiting, home = tmp_path / ".committed" / "sources" / "one.ttl", tmp_path / "sources" / "one.ttl"
    for path in (waiting, home):
        path.parent.mkdir(parents=True)
    waiting.write_text("<https://w3id.org/trayconcord/source/one> a <https://w3id.org/trayconcord/def/Source> .")

    def read_when_moved(file: Path) -> bytes:
        if file == waiting and waiting.exists():
            waiting.replace(home)
        return file.read_bytes()

    monkeypatch.setattr("trayconcord.kb.store.read_regular", read_when_moved)
    assert set(load([tmp_path], only=True).sources) == {"one"}
