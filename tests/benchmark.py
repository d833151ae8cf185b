"""Measures the check and the comparison on synthetic stores: ``python tests/benchmark.py [--sizes …] [--baseline N]``.

Prints seconds and the ratios that matter: comparison over parsing the same Turtle with rdflib, growth of the
comparison with size, and, with ``--baseline``, a conflict constraint written in SPARQL and run by pySHACL on the same
store, over our whole check. It is a measuring tool, not a test: nothing here passes or fails.
"""

import argparse
import gc
import math
import sys
import tempfile
import time
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

from rdflib import Graph

sys.path.insert(0, str(Path(__file__).parent / "support"))
from synthetic import write_store

from trayconcord.kb import namespaces as ns
from trayconcord.kb.store import Store, load
from trayconcord.shapes.check import check
from trayconcord.shapes.compare import Comparison

CONFLICT = """
@prefix sh: <http://www.w3.org/ns/shacl#> .
@prefix tc: <https://w3id.org/trayconcord/def/> .
@prefix rule: <https://w3id.org/trayconcord/rule/> .
rule:conflict-by-query a sh:NodeShape ; sh:targetClass tc:Claim ; sh:sparql rule:conflict-query .
rule:conflict-query a sh:SPARQLConstraint ; sh:message "conflict" ; sh:select '''
PREFIX tc: <https://w3id.org/trayconcord/def/>
PREFIX dcterms: <http://purl.org/dc/terms/>
PREFIX skos: <http://www.w3.org/2004/02/skos/core#>
SELECT $this ?value WHERE {
  $this tc:parameter ?parameter ; tc:min ?min ; tc:max ?max ; dcterms:source ?source .
  ?value tc:parameter ?parameter ; tc:min ?low ; tc:max ?high ; dcterms:source ?other .
  FILTER (?source != ?other && (?low > ?max || ?high < ?min))
  FILTER NOT EXISTS {
    ?axis a tc:Axis . $this ?axis ?mine . ?value ?axis ?theirs .
    FILTER NOT EXISTS { ?mine skos:broader* ?theirs }
    FILTER NOT EXISTS { ?theirs skos:broader* ?mine }
  }
}''' .
"""


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Seconds that a piece of work takes, and what it gives."""
    start = time.perf_counter()
    result = work()
    return time.perf_counter() - start, result


def compare_all(store: Store) -> int:
    """The whole comparison with every position spelt out; returns their number."""
    return sum(len(topic.positions) for topic in Comparison(store).topics)


def measure(size: int, folder: Path, whole: bool) -> dict[str, float]:
    """Seconds of each stage for one size."""
    layer = folder / str(size)
    path = write_store(layer, size)
    parse, graph = timed(lambda: Graph().parse(path, format="turtle"))
    triples = len(graph)
    del graph
    read, store = timed(lambda: load([layer], only=True))
    gc.collect()
    gc.freeze()  # as the command line does: what is loaded stays, and the collector need not look at it again
    compare, positions = timed(lambda: compare_all(store))
    gc.unfreeze()
    row = {"claims": size, "triples": triples, "parse": parse, "load": read, "compare": compare, "positions": positions}
    if whole:
        row["check"], _ = timed(lambda: check(load([layer], only=True)))
    return row


def conflicts_of_comparison(store: Store) -> set[frozenset[str]]:
    """The conflicting pairs of claims, from the topics."""
    pairs = set()
    for topic in Comparison(store).topics:
        together: dict[str, set[str]] = {}
        for position in topic.positions:
            ids = {claim.id for claim in position.claims}
            for claim in ids:
                together.setdefault(claim, set()).update(ids)
        everyone = set(together)
        pairs |= {frozenset((claim, other)) for claim, friends in together.items() for other in everyone - friends}
    return pairs


def baseline(size: int, folder: Path) -> None:
    """The same conflicts by a SPARQL constraint in pySHACL, and how much longer that takes than the whole check."""
    from pyshacl import validate
    from rdflib.namespace import SH

    layer = folder / f"baseline-{size}"
    write_store(layer, size)
    ours, report = timed(lambda: check(load([layer], only=True)))
    store = load([layer], only=True)
    shapes = Graph().parse(data=CONFLICT, format="turtle")
    graph = Graph()
    graph += store.graph
    theirs, (_, results, _) = timed(lambda: validate(graph, shacl_graph=shapes, inplace=True, advanced=False))
    found = {
        frozenset(ns.local(str(results.value(node, p)), ns.CLAIM) for p in (SH.focusNode, SH.value))
        for node in results.subjects(SH.sourceShape, None)
    }
    same = found == conflicts_of_comparison(report.store)
    print(f"{size} claims: whole check {ours:.2f} s, conflict constraint in SPARQL {theirs:.1f} s")
    print(f"that is {theirs / ours:.0f} times as long")
    print(f"{len(found)} conflicting pairs, {'the same' if same else 'NOT THE SAME'} in both")


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--sizes", type=int, nargs="+", default=[300, 3000, 30000, 100000])
    parser.add_argument("--check-up-to", type=int, default=3000, help="largest size at which the whole check runs")
    parser.add_argument("--baseline", type=int, help="also run the SPARQL constraint at this size (3000 takes minutes)")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        rows = [measure(size, Path(name), size <= options.check_up_to) for size in options.sizes]
        heads = ("claims", "triples", "positions", "parse s", "load s", "compare s", "ratio", "check s")
        print(" ".join(f"{head:>10}" for head in heads))
        for row in rows:
            cells = [f"{row[key]:.0f}" for key in ("claims", "triples", "positions")]
            cells += [
                f"{row['parse']:.2f}",
                f"{row['load']:.2f}",
                f"{row['compare']:.3f}",
                f"{row['compare'] / row['parse']:.3f}",
            ]
            cells.append(f"{row['check']:.2f}" if "check" in row else "")
            print(" ".join(f"{cell:>10}" for cell in cells))
        for small, large in pairwise(rows):
            power = math.log(large["compare"] / small["compare"]) / math.log(large["claims"] / small["claims"])
            print(f"comparison from {small['claims']:.0f} to {large['claims']:.0f} claims grows as n^{power:.2f}")
        if options.baseline:
            baseline(options.baseline, Path(name))


if __name__ == "__main__":
    main()
