"""Pipes in place of files: read where the shell opened them for the command, refused where nobody may be writing."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from hostile import READERS
from invented import NOTES, enter_forms

from trayconcord.generators.cli import main

pytest.importorskip("fcntl", reason="pipes with names")

FILES = {name: reader for name, reader in READERS.items() if reader.command is not None and name != "shapes"}
"""The readers of a file that a person names on the command line."""


@pytest.mark.parametrize("name", FILES)
def test_a_pipe_that_nobody_writes_to_is_refused_and_not_waited_for(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    os.mkfifo(tmp_path / "pipe")
    command = FILES[name].command
    assert command is not None
    assert main(command(tmp_path / "pipe")) == 2
    assert "not a regular file" in capsys.readouterr().err


@pytest.mark.parametrize(
    "command", ["plan --only {}", "why stop-count --only {}", "mark --only {} --case arch=maxillary"]
)
def test_a_device_is_refused(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(command.format("/dev/zero").split()) == 2
    assert "/dev/zero: cannot be read: not a regular file" in capsys.readouterr().err


def piped(script: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """What bash makes of a line in which $T is this program."""
    environment = {**os.environ, "T": f"{sys.executable} -m trayconcord.generators.cli"}
    return subprocess.run(
        ["bash", "-c", script], cwd=folder, env=environment, capture_output=True, text=True, timeout=60
    )


CASE_LINE = "echo 'case: {arch: maxillary}'"


@pytest.mark.skipif(not Path("/dev/fd").exists(), reason="needs descriptors as files")
def test_what_the_shell_pipes_is_read(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Process substitution and standard input: somebody writes to these."""
    assert main(["why", "--only", "stop-count", "arch=maxillary"]) == 0
    told = capsys.readouterr().out
    for script in (f"$T why --only stop-count <({CASE_LINE})", f"{CASE_LINE} | $T why --only stop-count /dev/stdin"):
        done = piped(script, tmp_path)
        assert (done.returncode, done.stdout, done.stderr) == (0, told, "")
    store = enter_forms(tmp_path, NOTES)
    export = f"$T export --only --kb {store} --format json"
    done = piped(f"$T changes --only <({export}) <({export})", tmp_path)
    assert (done.returncode, done.stdout, done.stderr) == (0, "nothing changed\n", "")
