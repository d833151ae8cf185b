"""A store checked part by part says the same as one that is checked whole."""

from datetime import date

import pytest
from hypothesis import given, settings
from random_stores import stores

from trayconcord.generators.check_output import json_report, text_report
from trayconcord.generators.compare_output import json_topics
from trayconcord.kb.store import Store
from trayconcord.shapes.check import Report, check
from trayconcord.shapes.parts import joined, parameters_in, part_of
from trayconcord.shapes.rules import rule_book

TODAY = date(2030, 1, 1)
RULES = rule_book()


def in_parts(store: Store) -> Report:
    return joined((check(part_of(store, name), RULES, TODAY) for name in parameters_in(store)), store)


def said(report: Report) -> tuple[str, str, str]:
    return json_report(report), text_report(report), json_topics(report.comparison.topics, report.store.vocabulary)


@pytest.mark.slow
def test_the_shipped_store(shipped_store: Store) -> None:
    assert len(parameters_in(shipped_store)) > 50
    assert said(in_parts(shipped_store)) == said(check(shipped_store, today=TODAY))


def test_a_store_with_rulings_and_cases(demo_store: Store) -> None:
    assert demo_store.rulings and demo_store.cases
    assert said(in_parts(demo_store)) == said(check(demo_store, RULES, TODAY))


@settings(max_examples=8)
@given(stores(), stores())
def test_any_two_stores_together(one: tuple[Store, str], other: tuple[Store, str]) -> None:
    store = one[0]
    if one[1] != other[1]:
        store.claims.extend(other[0].claims)
        store.claims.sort(key=lambda claim: claim.id)
    if store.claims:
        assert said(in_parts(store)) == said(check(store, RULES, TODAY))
