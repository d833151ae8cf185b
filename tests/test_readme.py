"""The README's tour is real: every command in it runs, and prints what it shows."""

import re
import shlex
import subprocess
import sys
from pathlib import Path

README = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")


def test_the_tour_prints_what_it_shows(tmp_path: Path) -> None:
    blocks = re.findall(r"```console\n(.*?)```", README, re.DOTALL)
    steps = [step for block in blocks for step in re.split(r"^\$ ", block, flags=re.MULTILINE) if step]
    assert len(steps) >= 8
    for step in steps:
        command, _, shown = step.partition("\n")
        words = shlex.split(command)
        if words[0] == "trayconcord":
            command = shlex.join([sys.executable, "-m", "trayconcord.generators.cli", *words[1:]])
        done = subprocess.run(command, shell=True, cwd=tmp_path, capture_output=True, text=True)
        printed = done.stdout + done.stderr
        assert "Traceback" not in printed
        pattern = ".*?".join(re.escape(part) for part in re.split(r"^\.\.\.\n", shown, flags=re.MULTILINE))
        assert re.fullmatch(pattern, printed, re.DOTALL), f"{command}\n--- shown\n{shown}\n--- printed\n{printed}"


def test_every_command_stands_in_the_readme() -> None:
    listed = set(re.findall(r"^\| `(\w+)", README, re.MULTILINE))
    help_text = subprocess.run(
        [sys.executable, "-m", "trayconcord.generators.cli", "--help"], capture_output=True, text=True, check=True
    ).stdout
    offered = set(re.findall(r"^    (\w+) ", help_text, re.MULTILINE))
    assert listed == offered


def test_the_counts_are_those_of_the_shipped_store() -> None:
    from trayconcord.kb.store import load

    store = load()
    kinds = [claim.obtained for claim in store.claims]
    assert f"{len(store.claims)} claims from {len(store.sources)} sources" in README
    assert f"{kinds.count('recalled')} of the claims are recalled" in README
    assert f"{kinds.count('practice')} are common practice" in README
