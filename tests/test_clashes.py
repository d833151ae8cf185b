"""Why a topic is contested: the pairs that cannot both be right, against the plain reading and on worked examples."""

from itertools import combinations
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from invented import store_of
from plain_reading import PlainReading
from random_stores import VOCABULARY, stores

from trayconcord.kb.store import Store
from trayconcord.shapes.clashes import Clash, clashes
from trayconcord.shapes.compare import Comparison


@settings(max_examples=100, suppress_health_check=list(HealthCheck))
@given(stores())
def test_the_clashing_pairs_are_those_that_a_plain_reading_finds(case: tuple[Store, str]) -> None:
    store, parameter = case
    plain = PlainReading(store, parameter)
    for topic in Comparison(store).topics:
        found = set()
        for clash in clashes(topic, VOCABULARY):
            pairs = {frozenset((one.id, other.id)) for one in clash.one.claims for other in clash.other.claims}
            assert pairs.isdisjoint(found)
            found |= pairs
            assert clash.common == plain.meet(clash.one.when, clash.other.when)
            assert plain.covers(clash.common, topic.when)
        expected = {
            frozenset((one.id, other.id))
            for one, other in combinations(plain.heard(topic.when), 2)
            if not plain.compatible(one, other)
        }
        assert found == expected
        assert bool(found) == (len(topic.positions) > 1)


def clashes_of(folder: Path, topic: str, *claims: str) -> list[Clash]:
    """The clashes of a topic in a store of one-claim sources, each given from ``parameter`` on."""
    forms = [
        f"source: {{id: invented-{n}, title: Invented {n}, kind: lecture-notes}}\n"
        f"claims:\n  - {{parameter: {claim}, at: p. 1, obtained: read}}\n"
        for n, claim in enumerate(claims)
    ]
    store = store_of(folder, *forms)
    (found,) = (found for found in Comparison(store).topics if found.id == topic)
    return clashes(found, store.vocabulary)


def test_two_conditions_meet_in_the_case_that_has_both(tmp_path: Path) -> None:
    (clash,) = clashes_of(
        tmp_path,
        "spacer-thickness?arch=maxillary&impression-material=zinc-oxide-eugenol-paste",
        "spacer-thickness, when: {arch: maxillary}, value: 1 mm",
        "spacer-thickness, when: {impression-material: zinc-oxide-eugenol-paste}, value: none",
    )
    assert {clash.one.when, clash.other.when} == {
        (("arch", "maxillary"),),
        (("impression-material", "zinc-oxide-eugenol-paste"),),
    }
    assert clash.common == (("arch", "maxillary"), ("impression-material", "zinc-oxide-eugenol-paste"))
    assert clash.disputed == ()


def test_sets_are_at_odds_on_the_widest_places_only(tmp_path: Path) -> None:
    (clash,) = clashes_of(
        tmp_path,
        "relief-areas",
        "relief-areas, value: {includes: [hard-palate, ridge-crest]}",
        "relief-areas, value: {includes: [ridge-crest], excludes: [hard-palate]}",
    )
    assert clash.disputed == ("hard palate",)  # and not the rugae, which are part of it


def test_orders_are_at_odds_on_the_steps_put_both_ways_round(tmp_path: Path) -> None:
    (clash,) = clashes_of(
        tmp_path,
        "procedure",
        "procedure, value: [draw-outline, soak-cast, adapt-spacer]",
        "procedure, value: [soak-cast, draw-outline, adapt-spacer]",
    )
    assert len(clash.disputed) == 1
    assert set(clash.disputed[0].split(" / ")) == {
        VOCABULARY.concepts["draw-outline"].label,
        VOCABULARY.concepts["soak-cast"].label,
    }


def test_claims_of_one_value_and_case_stand_together(tmp_path: Path) -> None:
    (clash,) = clashes_of(
        tmp_path, "stop-count", "stop-count, value: 3", "stop-count, value: 3", "stop-count, value: 4"
    )
    assert sorted(len(side.claims) for side in (clash.one, clash.other)) == [1, 2]
