"""The parts of a store that a SPARQL service holds, one after the other: the claims on one parameter at a time."""

from collections.abc import Iterator
from pathlib import Path

from trayconcord.kb import namespaces as ns
from trayconcord.kb.namespaces import TC
from trayconcord.kb.parts import Parts, Uncut
from trayconcord.kb.remote_store import Reading, of_files
from trayconcord.kb.sparql_service import Service
from trayconcord.kb.store import Store, layer_files
from trayconcord.kb.triples import Triples
from trayconcord.kb.turtle import bulk


def parts_of_service(service: Service, layers: list[Path] | None = None) -> Iterator[Store]:
    """The parts in the order of the vocabulary, and then the rest, with the given layers over what the service holds.

    Raises `Uncut`, at the end at the latest, where it holds what does not fall apart; and `UnusableInput`.
    """
    try:
        with bulk():
            told, places = of_files(layers)
            ours = set(told.of_type(TC.Claim))
            parameters = set(told.of_type(TC.Parameter))
            reading = Reading(service, told, places, layer_files(layers or [], True, {}))
            reading.read_records()
            reading.read_others(parameters)
            claimed = {
                subject: found
                for subject in told.of_type(TC.Claim)
                if (found := parameters.intersection(told[subject].get(TC.parameter, ())))
            }
            if not claimed.keys() <= ours:
                raise Uncut
            parts = Parts(Triples(triple for triple in told.triples() if triple[0] not in claimed), places)
        on = {parameter for found in claimed.values() for parameter in found} | reading.contents.claims.keys()
        for name in parts.parameters({ns.local(parameter, ns.PARAMETER) for parameter in on}):
            with bulk():
                claims, where = reading.claims_on(ns.iri(ns.PARAMETER, name), told, places)
                stated = (p for subject in claims.of_type(TC.Claim) for p, _ in claims.pairs[subject])
                if len(claims.of_type(TC.Claim)) != sum(predicate == TC.parameter for predicate in stated):
                    raise Uncut
            yield parts.part(name, claims, where)
        if not reading.is_complete():
            raise Uncut
        reading.confirm()
        yield parts.rest()
    finally:
        service.close()
