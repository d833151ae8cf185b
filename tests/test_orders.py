"""Orders of steps: pairs put both ways round, and one order out of several."""

from graphlib import CycleError, TopologicalSorter
from itertools import combinations, pairwise

from hypothesis import given
from hypothesis import strategies as st

from trayconcord.kb.store import load
from trayconcord.shapes.orders import both_ways, merged

VOCABULARY = load(only=True).vocabulary
STEPS = [concept.id for concept in VOCABULARY.in_scheme(VOCABULARY.parameters["procedure"].scheme)][:7]
orders = st.lists(st.lists(st.sampled_from(STEPS), min_size=2, max_size=5, unique=True).map(tuple), max_size=4)


def keeps(whole: tuple[str, ...], order: tuple[str, ...]) -> bool:
    return [whole.index(step) for step in order] == sorted(whole.index(step) for step in order)


def test_a_pair_put_both_ways_round_is_named_once() -> None:
    first, second, third = STEPS[:3]
    assert both_ways([(first, second, third), (second, first)], VOCABULARY) == [(first, second)]
    assert both_ways([(third, first), (first, second, third)], VOCABULARY) == [(first, third)]


@given(orders)
def test_the_pairs_are_those_of_a_plain_count(given_orders: list[tuple[str, ...]]) -> None:
    found = set()
    for one, other in combinations(STEPS, 2):
        ways = {order.index(one) < order.index(other) for order in given_orders if {one, other} <= set(order)}
        if len(ways) == 2:
            found.add(frozenset((one, other)))
    assert {frozenset(pair) for pair in both_ways(given_orders, VOCABULARY)} == found


@given(orders)
def test_one_order_holds_every_step_once_and_keeps_what_fits_together(given_orders: list[tuple[str, ...]]) -> None:
    """Held against the topological sorter of the standard library."""
    whole = merged(given_orders, VOCABULARY)
    assert sorted(whole) == sorted({step for order in given_orders for step in order})
    sorter: TopologicalSorter[str] = TopologicalSorter()
    for order in given_orders:
        for earlier, later in pairwise(order):
            sorter.add(later, earlier)
    try:
        sorter.prepare()
    except CycleError:
        return
    assert all(keeps(whole, order) for order in given_orders)
