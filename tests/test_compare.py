"""The comparison against a plain reading of the design on random stores, and against published examples."""

from fractions import Fraction

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from plain_reading import PlainReading
from rdflib import Graph

from trayconcord.kb.model import Claim, Scope, Source, in_order
from trayconcord.kb.store import Store, load
from trayconcord.kb.values import Choice, Interval, Membership, Nothing, Quantity, Steps, YesNo
from trayconcord.shapes.compare import Comparison
from trayconcord.shapes.positions import ValueTable
from trayconcord.shapes.scopes import bits

VOCABULARY = load(only=True).vocabulary

CONDITIONS = {
    "arch": ["maxillary", "mandibular"],
    "impression-material": [
        "elastomer", "silicone", "addition-silicone", "polyether", "impression-paste", "zinc-oxide-eugenol-paste",
    ],
    "consistency": ["low-consistency", "high-consistency"],
    "region": ["border", "frenum", "labial-frenum", "hard-palate"],
    "impression-technique": ["selective-pressure", "minimal-pressure"],
    "fit": ["spaced", "close-fitting"],
    "fabrication-method": ["hand-formed", "sprinkle-on", "printed"],
}  # fmt: skip
REGIONS = ["bearing-area", "hard-palate", "rugae", "residual-ridge", "ridge-crest", "ridge-slope", "canine-region"]
STEPS = ["draw-outline", "soak-cast", "block-out-undercuts", "adapt-spacer", "cut-stops"]

scopes = st.dictionaries(st.sampled_from(sorted(CONDITIONS)), st.integers(0, 9), max_size=3).map(
    lambda chosen: in_order(
        {axis: CONDITIONS[axis][number % len(CONDITIONS[axis])] for axis, number in chosen.items()}, VOCABULARY
    )
)
grid = st.integers(0, 12).map(lambda n: Fraction(n, 4))


@st.composite
def quantities(draw: st.DrawFn, unit: str) -> Quantity | Nothing:
    shape = draw(st.sampled_from(["point", "range", "low", "high", "none"]))
    if shape == "none":
        return Nothing()
    low, high = sorted((draw(grid), draw(grid)))
    if unit == "UNITLESS":
        low, high = Fraction(int(low)), Fraction(int(high))
    if shape == "point":
        high = low
    return Quantity(None if shape == "high" else low, None if shape == "low" else high, unit)


subsets = st.frozensets(st.sampled_from(REGIONS), max_size=3)
VALUES = {
    "spacer-thickness": quantities("MilliM"),
    "stop-count": quantities("UNITLESS"),
    "exposure-limit": st.integers(0, 8).map(lambda n: Quantity(Fraction(n, 4), Fraction(n, 4), "PPM")),
    "spacer-design": st.sampled_from(["no-spacer", "full-spacer", "partial-spacer"]).map(Choice),
    "soak-cast": st.booleans().map(YesNo),
    "relief-areas": st.one_of(
        subsets.map(lambda s: Membership(s, frozenset(), True)),
        st.tuples(subsets, subsets).map(lambda pair: Membership(pair[0], pair[1] - pair[0], False)),
    ),
    "procedure": st.lists(st.sampled_from(STEPS), min_size=2, max_size=4, unique=True).map(lambda s: Steps(tuple(s))),
}


@st.composite
def stores(draw: st.DrawFn) -> tuple[Store, str]:
    """A small store about one parameter, with editions and compilations among its sources."""
    parameter = draw(st.sampled_from(sorted(VALUES)))
    names = [f"work-{letter}" for letter in "abcdef"[: draw(st.integers(1, 6))]]
    sources = {}
    for name in names:
        sources[name] = Source(
            id=name,
            year=draw(st.sampled_from([0, 1990, 2000])),
            edition_of=draw(st.sampled_from(["", "", "", *names])) if draw(st.booleans()) else "",
            compiled_from=tuple(sorted(draw(st.sets(st.sampled_from(names), max_size=1))))
            if draw(st.integers(0, 3)) == 0
            else (),
        )
    claims = [
        Claim(
            id=f"{source}/{parameter}/{number}",
            source=source,
            parameter=parameter,
            when=draw(scopes),
            value=draw(VALUES[parameter]),
        )
        for number in range(draw(st.integers(0, 8)))
        for source in [draw(st.sampled_from(names))]
    ]
    claims.sort(key=lambda claim: claim.id)
    return Store(Graph(), VOCABULARY, sources, claims, [], [], [], {}), parameter


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
        Store(Graph(), VOCABULARY, {s.id: s for s in sources}, sorted(claims, key=lambda c: c.id), [], [], [], {})
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
