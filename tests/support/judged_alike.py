"""pySHACL on the facts of a store, to hold the judgement of flat shapes against."""

from datetime import date

from trayconcord.kb.store import Store
from trayconcord.kb.triples import Triples
from trayconcord.shapes.check import judged, judged_by_engine
from trayconcord.shapes.compare import Comparison
from trayconcord.shapes.facts import Facts
from trayconcord.shapes.rules import RuleBook, rule_book


def judged_alike(store: Store, rules: RuleBook | None = None, today: date | None = None) -> set[str]:
    """Asserts that both judge a store alike, finding by finding; gives the names of the rules that found something."""
    facts = Facts(store, Comparison(store), today)
    return held_alike([store.triples, facts.triples], rules or rule_book())


def held_alike(held: list[Triples], rules: RuleBook) -> set[str]:
    """The same for triples of any kind."""
    errors: dict[str, str] = {}
    ours = {rule.name: (set(results), seen) for rule, results, seen in judged(rules, held, errors)}
    every = list(rules.rules.values())
    theirs = {rule.name: (set(results), seen) for rule, results, seen in judged_by_engine(every, rules, held, errors)}
    assert not errors
    assert ours == theirs
    return {name for name, (results, _) in ours.items() if results}
