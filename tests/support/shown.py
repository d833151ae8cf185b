"""Console examples in pages: the steps of each, and what they show held against what is printed.

A line ``...`` stands for any lines. ``TRAYCONCORD_SNAPSHOTS=write pytest tests/test_guide.py`` writes today's
output into the pages, as many lines as they show now; read the difference.
"""

import os
import re

WRITE = os.environ.get("TRAYCONCORD_SNAPSHOTS") == "write"
BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.DOTALL | re.MULTILINE)
LEFT_OUT = re.compile(r"^\.\.\.\n", re.MULTILINE)


def steps(block: str) -> list[tuple[str, str]]:
    """Each command of a console example with the output that it shows."""
    found = [step.partition("\n") for step in re.split(r"^\$ ", block, flags=re.MULTILINE) if step]
    return [(command, shown) for command, _, shown in found]


def agrees(shown: str, printed: str) -> bool:
    """Whether the output is what the example shows."""
    pattern = ".*?".join(re.escape(part) for part in LEFT_OUT.split(shown))
    return re.fullmatch(pattern, printed, re.DOTALL) is not None


def renewed(shown: str, printed: str) -> str:
    """The example with today's output: as many lines at its start and at its end as it shows."""
    lines, parts = printed.splitlines(keepends=True), [part.splitlines() for part in LEFT_OUT.split(shown)]
    if len(parts) == 1:
        return printed
    last = lines[len(lines) - len(parts[-1]) :] if parts[-1] else []
    middle = ["...\n" + "".join(f"{line}\n" for line in part) for part in parts[1:-1]]
    return "".join([*lines[: len(parts[0])], *middle, "...\n", *last])
