"""Nothing is skipped unnoticed where everything has to run."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from skips import ALLOWED, BROUGHT

SUPPORT = Path(__file__).parent / "support"
FIRST, SECOND = "not slow and not browser", "slow or browser"
TESTS = f"""\
import pytest

def test_that_misses_something():
    pytest.skip("no such program here; {BROUGHT} has it")

@pytest.mark.skipif(True, reason="no such file")
def test_that_is_marked():
    pass

def test_that_may_be_skipped():
    pytest.skip("{next(iter(ALLOWED))}")

@pytest.mark.xfail(reason="known")
def test_that_is_known_to_fail():
    assert False
"""
MODULE = f"""\
import pytest

pytest.importorskip("no_such_library", reason="brought by {BROUGHT}")
"""


def run(folder: Path, marks: str, **environment: str) -> str:
    """What pytest says of the tests in a folder, with the marks of the first or of the second run."""
    (folder / "conftest.py").write_text("from skips import pytest_make_collect_report, pytest_runtest_makereport\n")
    (folder / "pytest.ini").write_text("[pytest]\nmarkers =\n  slow: s\n  browser: b\n")
    kept = {name: value for name, value in os.environ.items() if name != "CI" and not name.startswith("PYTEST")}
    command = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", "-q", "-m", marks, str(folder)]
    environment = {**kept, "PYTHONPATH": str(SUPPORT), **environment}
    return subprocess.run(command, capture_output=True, text=True, env=environment, cwd=folder).stdout


@pytest.mark.parametrize(
    ("environment", "summary"),
    [({"CI": "true"}, "1 failed, 1 skipped, 1 xfailed, 1 error"), ({}, "3 skipped, 1 xfailed")],
)
def test_a_skip_fails_where_everything_is_to_run(tmp_path: Path, environment: dict[str, str], summary: str) -> None:
    (tmp_path / "test_some.py").write_text(TESTS)
    told = run(tmp_path, FIRST, **environment)
    assert f"{summary} in " in told
    assert ("no such file: nothing may be skipped" in told) == bool(environment)


@pytest.mark.parametrize(("marks", "summary"), [(FIRST, "1 skipped"), (SECOND, "1 error")])
def test_a_module_may_wait_for_the_run_that_has_what_it_needs(tmp_path: Path, marks: str, summary: str) -> None:
    (tmp_path / "test_module.py").write_text(MODULE)
    assert summary in run(tmp_path, marks, CI="true")


def test_what_may_be_skipped_is_the_reason_of_some_test() -> None:
    texts = [path.read_text(encoding="utf-8") for path in Path(__file__).parent.glob("test_*.py")]
    for reason in ALLOWED:
        assert any(re.search(rf'skip\("{re.escape(reason)}', text) for text in texts), reason
