"""The comparison against a plain reading of the design on random stores, and against published examples."""

from fractions import Fraction

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from plain_reading import PlainReading
from random_stores import VOCABULARY, grid, scopes, stores

from trayconcord.kb.model import Claim, Scope, Source, in_order
from trayconcord.kb.store import Store, load
from trayconcord.kb.triples import Triples
from trayconcord.kb.values import Choice, Interval, Membership, Nothing, Quantity
from trayconcord.shapes.compare import Comparison
from trayconcord.shapes.positions import ValueTable
from trayconcord.shapes.scopes import bits


def agrees_with_a_plain_reading(store: Store, parameter: str, elsewhere: Scope) -> None:
    plain = PlainReading(store, parameter)
    comparison = Comparison(store)
    topics = {topic.when: topic for topic in comparison.topics}
    assert set(topics) == plain.cells()
    topics[elsewhere] = comparison.at(parameter, elsewhere)  # a taught case may lie anywhere, also where all are silent
    for cell, topic in topics.items():
        expected = plain.topic(cell)
        assert topic.standing == expected.standing
        assert topic.firm == expected.firm
        assert set(topic.voices) == expected.voices
        found = {frozenset(claim.id for claim in position.claims): position for position in topic.positions}
        assert set(found) == expected.positions
        assert len(found) == len(topic.positions)
        for members, (low, high) in expected.shared.items():
            assert found[members].value == Interval(low, high)


@settings(max_examples=250, deadline=None, suppress_health_check=list(HealthCheck))
@given(stores(), scopes)
def test_the_comparison_agrees_with_a_plain_reading_of_the_design(case: tuple[Store, str], elsewhere: Scope) -> None:
    agrees_with_a_plain_reading(*case, elsewhere)


@pytest.mark.slow
@settings(max_examples=4000, deadline=None, suppress_health_check=list(HealthCheck))
@given(stores(), scopes)
def test_the_comparison_agrees_with_a_plain_reading_on_thousands_of_stores(
    case: tuple[Store, str], elsewhere: Scope
) -> None:
    agrees_with_a_plain_reading(*case, elsewhere)


@pytest.mark.parametrize(
    "intervals, best, votes",
    [
        ([("8", "12"), ("11", "13"), ("10", "12")], [("11", "12")], 3),
        ([("8", "12"), ("11", "13"), ("14", "15")], [("11", "12")], 2),
        ([("8", "9"), ("8", "12"), ("10", "12")], [("8", "9"), ("10", "12")], 2),
        ([("10", "12"), ("11", "13"), ("11.99", "13")], [("11.99", "12")], 3),
    ],
)
def test_the_largest_positions_are_the_maximum_overlaps_of_marzullo(
    intervals: list[tuple[str, str]], best: list[tuple[str, str]], votes: int
) -> None:
    # Worked examples of Marzullo's algorithm (Marzullo 1984, thesis), as the encyclopedia article on it prints them.
    values = [Interval(Fraction(low), Fraction(high)) for low, high in intervals]
    table = ValueTable(list(values), VOCABULARY.parameters["spacer-thickness"], VOCABULARY)
    positions = table.positions((1 << len(values)) - 1)
    largest = max(members.bit_count() for members, _ in positions)
    assert largest == votes
    assert [shared for members, shared in positions if members.bit_count() == largest] == [
        Interval(Fraction(low), Fraction(high)) for low, high in best
    ]


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(grid, grid).map(sorted), min_size=1, max_size=9), st.integers(0, 4))
def test_every_position_of_intervals_shares_a_point_within_the_tolerance(
    ends: list[list[Fraction]], tolerance: int
) -> None:
    from dataclasses import replace

    parameter = replace(VOCABULARY.parameters["spacer-thickness"], tolerance=Fraction(tolerance, 4))
    values = list(dict.fromkeys(Interval(low, high) for low, high in ends))
    table = ValueTable(list(values), parameter, VOCABULARY)
    positions = table.positions((1 << len(values)) - 1)
    assert len(positions) <= len(values)  # an interval graph has no more maximal cliques than nodes
    covered = 0
    for members, shared in positions:
        covered |= members
        assert isinstance(shared, Interval) and shared.low is not None and shared.high is not None
        middle = (shared.low + shared.high) / 2
        for value in bits(members):
            low, high = values[value].low, values[value].high
            assert low is not None and high is not None
            assert low - parameter.tolerance / 2 <= middle <= high + parameter.tolerance / 2
    assert covered == (1 << len(values)) - 1


def claim(source: str, parameter: str, value: Quantity | Nothing, number: int = 0, **when: str) -> Claim:
    scope = in_order({axis.replace("_", "-"): concept for axis, concept in when.items()}, VOCABULARY)
    return Claim(f"{source}/{parameter}/{number}", source, parameter, scope, value)


def mm(low: str, high: str | None = None) -> Quantity:
    return Quantity(Fraction(low), Fraction(high or low), "MilliM")


def compare(*claims: Claim, sources: tuple[Source, ...] = ()) -> Comparison:
    return Comparison(
        Store(Triples(), VOCABULARY, {s.id: s for s in sources}, sorted(claims, key=lambda c: c.id), [], [], {})
    )


def test_the_more_specific_statement_of_the_same_author_stands() -> None:
    general = claim("a", "spacer-thickness", mm("1"))
    special = claim("a", "spacer-thickness", mm("2"), 1, arch="maxillary")
    topic = compare(general, special).at("spacer-thickness", special.when)
    assert topic.claims == (special,)
    assert topic.standing == "single"


def test_two_authors_clash_where_their_conditions_meet() -> None:
    comparison = compare(
        claim("a", "spacer-thickness", mm("1"), arch="maxillary"),
        claim("b", "spacer-thickness", mm("2"), impression_material="silicone"),
    )
    contested = [topic for topic in comparison.topics if topic.standing == "contested"]
    assert [topic.id for topic in contested] == ["spacer-thickness?arch=maxillary&impression-material=silicone"]
    assert not contested[0].firm  # a does not say for which material


def test_none_is_the_quantity_that_the_parameter_says() -> None:
    topic = compare(claim("a", "spacer-thickness", Nothing()), claim("b", "spacer-thickness", mm("0", "0.5"))).topics[0]
    assert topic.standing == "agreed"
    assert topic.positions[0].value == Interval(Fraction(0), Fraction(0))


def test_sheets_inches_and_millimetres_are_compared_exactly() -> None:
    # 1/8 in is 3.175 mm by the definition of the inch (25.4 mm, 1959 international agreement).
    eighth = Quantity(Fraction(1, 8), Fraction(1, 8), "IN")
    same = compare(claim("a", "spacer-thickness", eighth), claim("b", "spacer-thickness", mm("3.175")))
    assert same.topics[0].standing == "agreed"
    off = compare(claim("a", "spacer-thickness", eighth), claim("b", "spacer-thickness", mm("3.1750000001")))
    assert off.topics[0].standing == "contested"


def test_editions_are_one_voice_and_the_newest_speaks() -> None:
    old, new = Source("book-1", year=1990), Source("book-2", year=2010, edition_of="book-1")
    comparison = compare(
        claim("book-1", "spacer-thickness", mm("1")), claim("book-2", "spacer-thickness", mm("2")), sources=(old, new)
    )
    (topic,) = comparison.topics
    assert (topic.standing, [c.source for c in topic.claims]) == ("single", ["book-2"])
    assert [(c.source, newer) for c, newer in comparison.superseded()] == [("book-1", "book-2")]


def test_a_compilation_adds_no_voice_where_it_repeats_and_one_where_it_differs() -> None:
    notes = Source("notes", compiled_from=("review",))
    review = Source("review")
    repeated = compare(
        claim("review", "spacer-thickness", mm("1")),
        claim("notes", "spacer-thickness", mm("1")),
        sources=(notes, review),
    )
    assert repeated.topics[0].standing == "single"
    differing = compare(
        claim("review", "spacer-thickness", mm("1")),
        claim("notes", "spacer-thickness", mm("2")),
        sources=(notes, review),
    )
    assert differing.topics[0].standing == "contested"


def test_a_circle_of_compilations_silences_nobody() -> None:
    one, two = Source("one", compiled_from=("two",)), Source("two", compiled_from=("one",))
    topic = compare(
        claim("one", "spacer-thickness", mm("1")), claim("two", "spacer-thickness", mm("1")), sources=(one, two)
    ).topics[0]
    assert set(topic.voices) == {"one", "two"}


def test_a_set_speaks_of_every_place_that_its_members_cover() -> None:
    def areas(*members: str) -> Membership:
        return Membership(frozenset(members), frozenset(), True)

    table = ValueTable(
        [
            areas("residual-ridge"),
            areas("ridge-crest", "ridge-slope"),
            areas("ridge-crest"),
            Membership(frozenset(), frozenset({"residual-ridge"})),
        ],
        VOCABULARY.parameters["relief-areas"],
        VOCABULARY,
    )
    whole, both_parts, crest, without = range(4)
    assert not table.conflicts[whole] >> both_parts & 1
    assert table.conflicts[whole] >> crest & 1
    assert table.conflicts[crest] >> without & 1


def test_the_shipped_store_shows_the_disagreements_that_students_are_asked_about() -> None:
    comparison = Comparison(load())
    paste = comparison.at("tray-fit", (("impression-material", "zinc-oxide-eugenol-paste"),))
    assert paste.standing == "contested" and paste.firm
    assert {p.value.concept for p in paste.positions if isinstance(p.value, Choice)} == {"close-fitting", "spaced"}
    contested = {topic.parameter.id for topic in comparison.topics if topic.standing == "contested"}
    assert contested >= {
        "spacer-thickness", "stop-count", "stop-sites", "finger-rest-site", "light-curing-time",
        "disinfection-time", "spacer-coverage", "procedure",
    }  # fmt: skip
    # 1-2, 2, 2-3 and 2-4 mm sound like a dispute and are none: all of them hold at 2 mm.
    borders = comparison.at("border-clearance", ())
    assert (borders.standing, len(borders.voices) > 8) == ("agreed", True)
    assert [position.value for position in borders.positions] == [Interval(Fraction(2), Fraction(2))]
