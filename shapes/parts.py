"""Checking a store part by part: what is said of one parameter rests on its claims, rulings and cases, and on all
sources. So a store that is too large to hold at once is read, compared and checked one parameter at a time.
"""

from collections.abc import Iterable
from dataclasses import replace

from trayconcord.kb import namespaces as ns
from trayconcord.kb.store import Store
from trayconcord.kb.triples import Triples
from trayconcord.shapes.check import Report
from trayconcord.shapes.compare import Comparison
from trayconcord.shapes.findings import Finding

_GRAVEST = ("errored", "found", "passed", "not exercised")


def parameters_in(store: Store) -> list[str]:
    """The parameters that a store says or asks anything of, those that the vocabulary does not know included."""
    said = {claim.parameter for claim in store.claims} | {ruling.parameter for ruling in store.rulings}
    return sorted(said | {ask for case in store.cases for ask in case.asks})


def part_of(store: Store, parameter: str) -> Store:
    """What a store says of one parameter, with all its sources and its vocabulary."""
    claims = [claim for claim in store.claims if claim.parameter == parameter]
    rulings = [ruling for ruling in store.rulings if ruling.parameter == parameter]
    others = {ns.iri(ns.CLAIM, claim.id) for claim in store.claims} - {ns.iri(ns.CLAIM, c.id) for c in claims}
    others |= {ns.iri(ns.RULING, ruling.id) for ruling in store.rulings} - {ns.iri(ns.RULING, r.id) for r in rulings}
    triples = Triples()
    triples.pairs = {subject: pairs for subject, pairs in store.triples.pairs.items() if subject not in others}
    cases = [replace(case, asks=tuple(ask for ask in case.asks if ask == parameter)) for case in store.cases]
    return replace(store, triples=triples, claims=claims, rulings=rulings, cases=cases)


def joined(reports: Iterable[Report], store: Store) -> Report:
    """The report on a store from the reports on its parts; what every part says of the sources is said once."""
    findings: dict[tuple[str, str, str, str], Finding] = {}
    states: dict[str, str] = {}
    errors: dict[str, str] = {}
    comparisons: list[Comparison] = []
    for report in reports:
        for finding in report.findings:
            findings.setdefault((finding.rule, finding.focus, finding.severity, finding._said), finding)
        for rule, state in report.states.items():
            states[rule] = min(state, states.get(rule, state), key=_GRAVEST.index)
        errors |= report.errors
        comparisons.append(report.comparison)
    ordered = sorted(findings.values(), key=Finding.rank)
    return Report(store, Comparison.joined(store, comparisons), ordered, states, errors)
