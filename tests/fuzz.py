"""The long run: spoilt input without end, or as much of it as is asked for.

    python tests/fuzz.py --inputs 100000                 every reader in turn, spoilt as tests/support/spoil.py does
    python tests/fuzz.py --guided form --seconds 120     one reader, guided by coverage (needs atheris)
    python tests/fuzz.py --list                          the names of the readers

No input may raise anything but `UnusableInput`, take longer than five seconds, open a socket, start a process, or write
outside the folder of the run. What fails is printed with the number that makes it again, and kept with ``--keep DIR``.
"""

import argparse
import os
import sys
import time
import traceback
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent / "support"))


def main() -> int:
    """Exit status: 0 nothing found, 1 something found."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--inputs", type=int, default=20_000, help="how many, over all readers")
    parser.add_argument("--seconds", type=float, default=3600, help="stop after so many")
    parser.add_argument("--start", type=int, default=0, help="number of the first mutation")
    parser.add_argument("--reader", action="append", help="only this one (repeatable)")
    parser.add_argument("--guided", metavar="READER", help="fuzz one reader guided by coverage")
    parser.add_argument("--list", action="store_true", help="print the names of the readers, and do nothing")
    parser.add_argument("--keep", type=Path, help="folder for the inputs that failed")
    options = parser.parse_args()
    if options.guided:
        return guided(options)
    from hostile import READERS

    if options.list:
        print(*READERS, sep="\n")
        return 0
    chosen = {name: READERS[name] for name in options.reader or READERS}
    weights = {name: SHARES.get(name, 1.0) for name in chosen}
    found = 0
    prepare(chosen, options.keep)
    for name in chosen:
        share = weights[name] / sum(weights.values())
        wanted, end = round(options.inputs * share), time.monotonic() + max(options.seconds * share, 5.0)
        found += run(chosen[name], options.start, wanted, end, options.keep)
    return 1 if found else 0


SHARES = {"form": 3.0, "source": 3.0, "case": 2.0, "plan": 2.0, "checked-source": 0.04, "shapes": 0.04, "export": 1.5}
"""How often a reader gets an input, against 1 for the others: the whole check takes a hundred times as long."""


def prepare(readers, keep: Path | None) -> None:
    """Make what the readers need, and load what they import, before the guard goes up."""
    from hostile import WORLD, feed

    for reader in readers.values():
        taken = [feed(reader, seed) for seed in reader.seeds()]
        assert any(taken), f"{reader.name} refuses all seeds"
    guard([WORLD.folder, *([keep] if keep else [])])


def run(reader, start: int, inputs: int, end: float, keep: Path | None) -> int:
    """Feed a reader; prints what it did, returns how many kinds of failure it showed."""
    from hostile import feed
    from spoil import mutated

    seeds, began, slowest = reader.seeds(), time.monotonic(), 0.0
    outcomes: Counter[str] = Counter()
    failures: dict[str, int] = {}
    for number in range(start, start + inputs):
        if time.monotonic() > end:
            break
        data = mutated(seeds, number)
        before = time.process_time()
        try:
            outcomes["taken" if feed(reader, data) else "refused"] += 1
        except BaseException as error:
            if isinstance(error, KeyboardInterrupt):
                raise
            outcomes["failed"] += 1
            frame = traceback.extract_tb(error.__traceback__)[-1]
            kind = f"{type(error).__name__} at {Path(frame.filename).name}:{frame.lineno}"
            if kind not in failures:
                failures[kind] = number
                print(f"{reader.name} {number}: {kind}: {str(error)[:200]}", flush=True)
                if keep:
                    keep.mkdir(parents=True, exist_ok=True)
                    (keep / f"{reader.name}-{number}").write_bytes(data)
        slowest = max(slowest, time.process_time() - before)
    print(
        f"{reader.name}: {sum(outcomes.values())} inputs in {time.monotonic() - began:.0f} s: "
        f"{outcomes['refused']} refused, {outcomes['taken']} taken, {outcomes['failed']} failed; "
        f"slowest {slowest:.2f} s of computing",
        flush=True,
    )
    return len(failures)


def guard(folders: list[Path]) -> None:
    """From now on this process opens no socket, starts no process and writes nowhere but in these folders."""
    allowed = (*(os.path.realpath(folder) for folder in folders), os.devnull)

    def hook(event: str, arguments: tuple) -> None:
        if event.startswith("socket.") or event in (
            "subprocess.Popen",
            "os.system",
            "os.exec",
            "os.posix_spawn",
            "os.fork",
        ):
            raise AssertionError(f"{event} {arguments!r}")
        if event == "open" and isinstance(arguments[0], str):
            writes = (arguments[2] or 0) & (os.O_WRONLY | os.O_RDWR | os.O_CREAT)
            if writes and not os.path.realpath(arguments[0]).startswith(allowed) and "__pycache__" not in arguments[0]:
                raise AssertionError(f"wrote to {arguments[0]}")

    sys.addaudithook(hook)


def guided(options: argparse.Namespace) -> int:
    """Let coverage lead the way, from the same seeds."""
    import atheris

    with atheris.instrument_imports(include=["trayconcord", "yaml", "rdflib.plugins.parsers.notation3", "json"]):
        import hostile
        from hostile import READERS, WORLD, feed
    from spoil import mutated

    hostile.PATIENCE *= 10  # watching the coverage takes its time
    reader = READERS[options.guided]
    seeds = reader.seeds()
    corpus = WORLD.folder / "corpus"
    corpus.mkdir()
    for number, seed in enumerate(seeds):
        (corpus / f"seed-{number}").write_bytes(seed)

    def spoil(data: bytes, longest: int, number: int) -> bytes:
        """Half the time our own slips, which know the words of the trade; else the fuzzer's."""
        changed = mutated([data or seeds[0]], number) if number % 2 else atheris.Mutate(data, len(data) or 1)
        return bytes(changed[:longest])

    def one(data: bytes) -> None:
        feed(reader, data)

    arguments = [
        sys.argv[0],
        f"-max_total_time={int(options.seconds)}",
        "-max_len=20000",
        "-timeout=30",
        "-rss_limit_mb=3000",
    ]
    arguments += [f"-runs={options.inputs}", "-print_final_stats=1"]
    keep = options.keep or WORLD.folder
    keep.mkdir(parents=True, exist_ok=True)
    arguments.append(f"-artifact_prefix={keep}/{reader.name}-")
    atheris.Setup([*arguments, str(corpus)], one, custom_mutator=spoil)
    atheris.Fuzz()
    return 0


if __name__ == "__main__":
    sys.exit(main())
