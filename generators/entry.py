"""Entering forms: read whole, compare, write all or nothing."""

import os
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import chain, count
from pathlib import Path

from rdflib import Graph

from trayconcord.kb import namespaces as ns
from trayconcord.kb.errors import Complaint, Place, UnusableInput, unusable
from trayconcord.kb.forms import Form, read_form
from trayconcord.kb.marking import policy_triples
from trayconcord.kb.model import Ruling
from trayconcord.kb.records import case_triples, claim_triples, ruling_triples, source_triples
from trayconcord.kb.store import Store, load
from trayconcord.kb.transaction import standing, write_all
from trayconcord.kb.turtle import new_graph, write_turtle
from trayconcord.shapes.compare import Comparison
from trayconcord.shapes.wording import position_lines

MARKING = "marking/policy.ttl"
"""Where a store keeps its marking policy, whole: entering one replaces it."""


@dataclass(frozen=True, slots=True)
class Entered:
    """What `enter` did: the files written, what was replaced, and the store as it now is."""

    forms: list[Form]
    written: list[str]
    replaced: list[str]
    store: Store


def enter(paths: list[Path], layers: list[Path], only: bool, target: Path) -> Entered:
    """Enter forms into the store at ``target``. Raises `UnusableInput`; the store is then as it was."""
    if {"site-packages", "dist-packages"} & set(Path(os.path.realpath(target)).parts):
        raise unusable(target, "lies in an installed package", "name a folder of your own with --kb")
    ruled = standing(target, "rulings")
    before = load([layer for layer in layers if layer != target or target.exists()], only)
    forms: list[Form] = []
    complaints: list[Complaint] = []
    for path in paths:
        try:
            forms.append(read_form(path, before.vocabulary))
        except UnusableInput as error:
            complaints += error.complaints
    complaints += _entered_twice(paths, forms) if not complaints else []
    if complaints:
        raise UnusableInput(complaints)
    contents = _contents(forms, target, before)
    store = load(layers, only, contents)
    Comparison(store).statements()  # a store that no command could compare is not written
    rulings = [ruling for form in forms for ruling in form.rulings]
    if rulings:
        contents = _contents(_decided(forms, store), target, before)
        store = load(layers, only, contents)
    replaced = sorted(name for name in contents if (target / name).exists())
    write_all(target, contents, {name: ruled.get(name) for name in contents if name.startswith("rulings/")})
    return Entered(forms, sorted(contents), replaced, store)


def _entered_twice(paths: list[Path], forms: list[Form]) -> Iterable[Complaint]:
    seen: dict[str, Path] = {}
    for path, form in zip(paths, forms, strict=True):
        ids = [f"source {form.source.id}"] if form.source else []
        ids += [f"ruling {ruling.id}" for ruling in form.rulings] + [f"case {case.id}" for case in form.cases]
        ids += ["a marking policy"] if form.marking else []
        for identifier in ids:
            if identifier in seen:
                yield Complaint(
                    Place(str(path)), f"{identifier} stands in {seen[identifier]} too", "enter one of the two"
                )
            seen.setdefault(identifier, path)


def _decided(forms: list[Form], store: Store) -> list[Form]:
    """The forms with each ruling noting the positions as they stand."""
    comparison = Comparison(store)

    def with_positions(ruling: Ruling) -> Ruling:
        topic = comparison.at(ruling.parameter, ruling.when)
        return replace(ruling, positions_then=position_lines(topic, store.vocabulary))

    return [replace(form, rulings=[with_positions(ruling) for ruling in form.rulings]) for form in forms]


def _contents(forms: list[Form], target: Path, store: Store) -> dict[str, bytes]:
    """The files that the forms amount to: one per source, per ruled parameter, per case, and one policy."""
    graphs: dict[str, Graph] = {}
    for form in forms:
        if form.source:
            graph = graphs.setdefault(f"sources/{form.source.id}.ttl", new_graph())
            source_triples(graph, form.source)
            for claim in form.claims:
                claim_triples(graph, claim)
        for case in form.cases:
            case_triples(graphs.setdefault(f"cases/{case.id}.ttl", new_graph()), case)
        if form.marking:
            policy_triples(graphs.setdefault(MARKING, new_graph()), form.marking, store.vocabulary)
    rulings = {ruling.id: ruling for form in forms for ruling in form.rulings}
    for parameter in {ruling.parameter for ruling in rulings.values()}:
        name = f"rulings/{parameter}.ttl"
        graph = graphs.setdefault(name, new_graph())
        there = [r for r in (*store.rulings, *store.former_rulings) if _lies_in(store, r, target / name)]
        ours = {ruling.id: ruling for ruling in rulings.values() if ruling.parameter == parameter}
        for ruling in _with_history({ruling.id: ruling for ruling in there}, ours):
            ruling_triples(graph, ruling)
    return {name: write_turtle(graph) for name, graph in graphs.items()}


def _with_history(there: dict[str, Ruling], ours: dict[str, Ruling]) -> list[Ruling]:
    """The rulings of a file once new ones are entered. What they replace becomes history; a ruling that is entered
    again word for word leaves all as it was, or else its positions would lose the day on which they were noted."""
    result = dict(there)
    for ruling in ours.values():
        before = there.get(ruling.id)
        if before and replace(before, positions_then=()) == replace(ruling, positions_then=()):
            continue
        if before:
            dated = f"{before.id}#{before.decided_on}"
            former = next(name for name in chain([dated], (f"{dated}-{n}" for n in count(2))) if name not in result)
            result[former] = replace(before, id=former)
        result[ruling.id] = ruling
    return [result[name] for name in sorted(result)]


def _lies_in(store: Store, ruling: Ruling, path: Path) -> bool:
    place = store.places.get(ns.iri(ns.RULING, ruling.id))
    return place is not None and place.file == str(path)
