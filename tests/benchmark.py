"""Measures the check and the comparison on synthetic stores: ``python tests/benchmark.py [--sizes …] [--baseline N]``.

Every stage runs in a process of its own, which tells the seconds of processor time that it took (others may use the
machine meanwhile) and the most memory that it held. What counts are the ratios: to the time that rdflib, and a native
parser (pyoxigraph, of the ``test`` extra), need merely to parse the same file, and the growth from one size to the
next. With ``--foreign``, the same stores as another program lays them out are checked with the extra ``fast`` and
without it. With ``--baseline``, a conflict constraint written in SPARQL is run by pySHACL on the same store, over our
whole check. With ``--recheck``, a store of a file for each source is checked again after a change. With ``--service``,
such a store is published into an Oxigraph server on the loopback interface and compared from there; here the clock
counts, since one waits for the other, and the memory of both is told. It is a measuring tool, not a test: nothing here
passes or fails.
"""

import argparse
import contextlib
import gc
import json
import math
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

from rdflib import Graph

sys.path.insert(0, str(Path(__file__).parent / "support"))
from sparql_servers import oxigraph_process
from synthetic import write_sources, write_store

from trayconcord.generators.check_output import text_report
from trayconcord.generators.cli import main as command_line
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
    """Seconds of processor time that a piece of work takes, and what it gives."""
    start = time.process_time()
    result = work()
    return time.process_time() - start, result


def loaded(layer: Path) -> Store:
    """The store as the command line loads it: what is loaded stays, and the collector need not look at it again."""
    store = load([layer], only=True)
    gc.freeze()
    return store


def file_of(layer: Path) -> Path:
    """The one file of a synthetic store."""
    (path,) = layer.glob("sources/*.ttl")
    return path


def parse_rdflib(layer: Path) -> int:
    """Triples that rdflib parses."""
    return len(Graph().parse(file_of(layer), format="turtle"))


def parse_native(layer: Path) -> int:
    """Triples that pyoxigraph parses; they are counted and let go."""
    import pyoxigraph

    return sum(1 for _ in pyoxigraph.parse(path=str(file_of(layer)), format=pyoxigraph.RdfFormat.TURTLE))


def compare_all(layer: Path) -> int:
    """The whole comparison, from the file, with every position spelt out; returns their number."""
    return sum(len(topic.positions) for topic in Comparison(loaded(layer)).topics)


def check_all(layer: Path) -> int:
    """The whole check, from the file to the text; returns the number of findings."""
    report = check(loaded(layer))
    return len(report.findings) if text_report(report) else 0


def check_without(layer: Path) -> int:
    """The whole check as it is where the extra ``fast`` is not installed."""
    sys.modules["pyoxigraph"] = None  # type: ignore[assignment]  # an import of it fails
    return check_all(layer)


STAGES = {
    "rdflib": parse_rdflib,
    "native": parse_native,
    "load": lambda layer: len(loaded(layer).claims),
    "compare": compare_all,
    "check": check_all,
}
FOREIGN = {"rdflib": parse_rdflib, "without": check_without, "with": check_all}
"""The stages for a store that another program wrote."""

LAYOUTS = ("names", "IRIs")
"""What another program may write: names with prefixes, or every IRI in full."""


def write_foreign(layer: Path, claims: int, layout: str) -> None:
    """A synthetic store, written by pyoxigraph in a layout of its own."""
    import pyoxigraph

    write_store(layer, claims)
    canonical = file_of(layer).read_bytes()
    prefixes = {name: str(namespace) for name, namespace in ns.PREFIXES.items()} if layout == "names" else None
    turtle = pyoxigraph.RdfFormat.TURTLE
    triples = (quad.triple for quad in pyoxigraph.parse(canonical, turtle))
    pyoxigraph.serialize(triples, str(file_of(layer)), turtle, prefixes=prefixes)


def foreign(sizes: list[int], folder: Path, rdflib_up_to: int) -> None:
    """Measure and print what the extra ``fast`` saves."""
    print(" ".join(f"{head:>14}" for head in ("claims", "layout", *FOREIGN, "with/rdflib", "with/without")))
    for size in sizes:
        for layout in LAYOUTS:
            layer = folder / f"{layout}-{size}"
            write_foreign(layer, size, layout)
            stages = [stage for stage in FOREIGN if stage == "with" or size <= rdflib_up_to]
            row = {stage: measured(stage, layer) for stage in stages}
            cells = [f"{row[stage][0]:.2f} s {row[stage][1]:.0f} MB" if stage in row else "" for stage in FOREIGN]
            cells += [f"{row['with'][0] / row[s][0]:.2f}" if s in row else "" for s in ("rdflib", "without")]
            print(" ".join(f"{cell:>14}" for cell in (str(size), layout, *cells)), flush=True)


def measure_here(stage: str, layer: Path) -> None:
    """Run one stage and print what it took: seconds, MiB, and how much it gave."""
    seconds, count = timed(lambda: (STAGES | FOREIGN)[stage](layer))
    print(json.dumps([seconds, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, count]))


def measured(stage: str, layer: Path) -> tuple[float, float]:
    """Seconds and MiB of one stage, in a process of its own."""
    command = [sys.executable, __file__, "--stage", stage, "--layer", str(layer)]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    seconds, memory, _ = json.loads(done.stdout)
    return seconds, memory


def measure(size: int, folder: Path, rdflib_up_to: int) -> dict[str, tuple[float, float]]:
    """Seconds and MiB of every stage for one size, one after the other."""
    layer = folder / str(size)
    write_store(layer, size)
    return {stage: measured(stage, layer) for stage in STAGES if stage != "rdflib" or size <= rdflib_up_to}


def command_here(words: list[str]) -> None:
    """Run a command, throw away what it prints, and print what it took: seconds by the clock, of processor, and MiB."""
    start = time.monotonic()
    with open(os.devnull, "w", encoding="utf-8") as nowhere, contextlib.redirect_stdout(nowhere):
        seconds, _ = timed(lambda: command_line(words))
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps([time.monotonic() - start, seconds, memory]))


def by_service(sizes: list[int], folder: Path) -> None:
    """Publish the claims into a server and compare them from there, each by a process of its own."""
    print(" ".join(f"{head:>18}" for head in ("claims", "command", "clock", "client", "server")))
    for size in sizes:
        layer = folder / f"sources-{size}"
        write_sources(layer, size)
        with oxigraph_process() as (address, process):
            for words in (["publish", "--kb", str(layer), "--only"], ["compare"]):
                words += ["--endpoint", address, "--timeout", "600"]
                command = [sys.executable, __file__, "--command", json.dumps(words)]
                before, _ = taken_by(process)
                done = subprocess.run(command, check=True, capture_output=True, text=True)
                after, held = taken_by(process)
                clock, seconds, memory = json.loads(done.stdout)
                shown = (f"{clock:.1f} s", f"{seconds:.1f} s {memory:.0f} MB", f"{after - before:.1f} s {held:.0f} MB")
                print(" ".join(f"{cell:>18}" for cell in (str(size), words[0], *shown)), flush=True)


def taken_by(process: int) -> tuple[float, float]:
    """Seconds of processor time and MiB at most that a process has taken until now. Linux tells it."""
    folder = Path(f"/proc/{process}")
    times = (folder / "stat").read_text().rpartition(")")[2].split()[11:13]
    peak = (folder / "status").read_text().partition("VmHWM:")[2].split()[0]
    return sum(map(int, times)) / os.sysconf("SC_CLK_TCK"), int(peak) / 1024


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


def command(*words: str) -> float:
    """Seconds of processor time that a command takes from its start to its end."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, "-m", "trayconcord.generators.cli", *words], stdout=subprocess.DEVNULL, check=False)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def recheck(size: int, folder: Path) -> None:
    """Check a store of one file per source again after a change, with what earlier checks found kept in a folder."""
    layer, empty = folder / f"recheck-{size}", folder / "empty"
    write_sources(layer, size)
    first = min((layer / "sources").iterdir())
    (empty / "sources").mkdir(parents=True)
    words = ["check", "--only", "--cache", str(folder / "kept"), "--kb", str(layer)]
    seconds = {"a store without claims": command("check", "--only", "--kb", str(empty))}
    seconds["without --cache"] = command(*words[:2], *words[4:])
    seconds["the first time"] = command(*words)
    seconds["nothing changed"] = command(*words)
    text = first.read_text(encoding="utf-8")
    first.write_text(text.replace(' mm" .', ' mm exactly" .', 1), encoding="utf-8")
    seconds["one claim changed"] = command(*words)
    first.unlink()
    seconds["one source removed"] = command(*words)
    print("\n".join(f"{size} claims, {what}: {took:.2f} s" for what, took in seconds.items()))


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--sizes", type=int, nargs="+", default=[300, 3000, 30000, 100000])
    parser.add_argument("--rdflib-up-to", type=int, default=100000, help="largest size that rdflib parses too")
    parser.add_argument("--foreign", action="store_true", help="measure other layouts, with the extra and without")
    parser.add_argument("--baseline", type=int, help="also run the SPARQL constraint at this size (3000 takes minutes)")
    parser.add_argument("--recheck", type=int, help="also check again what changed, at this size")
    parser.add_argument("--service", action="store_true", help="measure a SPARQL service instead of files")
    parser.add_argument("--command", type=json.loads, help=argparse.SUPPRESS)
    parser.add_argument("--stage", choices=STAGES | FOREIGN, help=argparse.SUPPRESS)
    parser.add_argument("--layer", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.stage:
        measure_here(options.stage, options.layer)
        return
    if options.command:
        command_here(options.command)
        return
    with tempfile.TemporaryDirectory() as name:
        if options.foreign:
            foreign(options.sizes, Path(name), options.rdflib_up_to)
            return
        if options.service:
            by_service(options.sizes, Path(name))
            return
        rows = []
        print(" ".join(f"{head:>14}" for head in ("claims", *STAGES, "compare/native", "check/rdflib")))
        for size in options.sizes:
            row = measure(size, Path(name), options.rdflib_up_to)
            rows.append((size, row))
            cells = [f"{row[s][0]:.2f} s {row[s][1]:.0f} MB" if s in row else "" for s in STAGES]
            cells.append(f"{row['compare'][0] / row['native'][0]:.2f}")
            cells.append(f"{row['check'][0] / row['rdflib'][0]:.2f}" if "rdflib" in row else "")
            print(" ".join(f"{cell:>14}" for cell in (str(size), *cells)), flush=True)
        for (small, less), (large, more) in pairwise(rows):
            for stage in ("compare", "check"):
                power = math.log(more[stage][0] / less[stage][0]) / math.log(large / small)
                print(f"{stage} from {small} to {large} claims grows as n^{power:.2f}")
        if options.baseline:
            baseline(options.baseline, Path(name))
        if options.recheck:
            recheck(options.recheck, Path(name))


if __name__ == "__main__":
    main()
