"""The README's tour is real: every command in it runs, and prints what it shows."""

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
from shown import BLOCK, WRITE, agrees, renewed, steps

from trayconcord.generators.cli import main

PATH = Path(__file__).parent.parent / "README.md"
README = PATH.read_text(encoding="utf-8")


def test_the_tour_prints_what_it_shows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    text = README
    ran = [step for language, block in BLOCK.findall(README) if language == "console" for step in steps(block)]
    assert len(ran) >= 8
    for command, shown in ran:
        words = shlex.split(command)
        if words[0] == "trayconcord":
            main(words[1:])
            captured = capsys.readouterr()
            printed = captured.out + captured.err
        else:
            done = subprocess.run(command, shell=True, capture_output=True, text=True)
            printed = done.stdout + done.stderr
        if WRITE:
            old, new = (f"$ {command}\n{output}" for output in (shown, renewed(shown, printed)))
            text = text.replace(old, new, 1)
        else:
            assert agrees(shown, printed), f"{command}\n--- shown\n{shown}\n--- printed\n{printed}"
    if WRITE:
        PATH.write_text(text, encoding="utf-8")


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
