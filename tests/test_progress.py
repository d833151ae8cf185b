"""The line that tells what takes so long: on a terminal, after a second, and gone at the end."""

import time
from io import StringIO

import pytest

from trayconcord.generators.cli import main
from trayconcord.generators.progress import progress


class Terminal(StringIO):
    """A stream that says that a person reads it."""

    def isatty(self) -> bool:
        return True


@pytest.fixture
def hurried(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("trayconcord.generators.progress.PATIENCE", 0.001)


def test_long_work_is_told_and_the_line_is_wiped(hurried: None) -> None:
    terminal = Terminal()
    with progress("reading", terminal):
        time.sleep(0.1)
    told = terminal.getvalue()
    assert told.startswith("\rreading … 0 s\r")
    assert told.endswith("\r\x1b[K") and "\n" not in told


def test_the_line_is_wiped_when_the_work_fails(hurried: None) -> None:
    terminal = Terminal()
    with pytest.raises(KeyError), progress("reading", terminal):
        time.sleep(0.05)
        raise KeyError
    assert terminal.getvalue().endswith("\r\x1b[K")


def test_short_work_is_not_told() -> None:
    terminal = Terminal()
    with progress("reading", terminal):
        pass
    assert terminal.getvalue() == ""


def test_nothing_is_told_to_a_file_or_a_pipe(hurried: None, capsys: pytest.CaptureFixture[str]) -> None:
    stream = StringIO()
    with progress("reading", stream):
        time.sleep(0.05)
    assert stream.getvalue() == ""
    assert main(["check", "--only"]) == 0
    assert capsys.readouterr().err == ""


def test_a_command_tells_what_it_does(hurried: None, monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = Terminal()
    monkeypatch.setattr("sys.stderr", terminal)
    assert main(["check", "--only"]) == 0
    assert "reading the store … " in terminal.getvalue()
