"""Under continuous integration (CI=true) a test that is skipped has failed: what is missing there is a mistake there.

Not so for what stands in `ALLOWED`. The first of the two runs (see .ci/run) comes before the things of the second are
brought, so a module that needs one of them may be skipped by the first as a whole; none of its tests would run there.
"""

import os
from collections.abc import Iterator
from typing import Any

import pytest

ALLOWED = {
    "may not mount a small disk": "a container seldom has the right to mount",
    "not a checkout": "a copy of the files without their history says nothing of what is kept",
    "git does not list this checkout": "as above, where the checkout belongs to somebody else",
}
"""What the reason of a skip says, and why a run may go without it."""
BROUGHT = "continuous integration"
"""What the reason of a skip says of a thing that the second run has."""


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Iterator[None]:
    """A test that is skipped."""
    report: Any = yield
    if not hasattr(report, "wasxfail"):
        _judge(report)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(collector: pytest.Collector) -> Iterator[None]:
    """A module that is skipped as a whole."""
    report: Any = yield
    _judge(report, BROUGHT if _first(collector.config) else None)
    return report


def _first(config: pytest.Config) -> bool:
    return str(config.getoption("markexpr")).startswith("not slow")


def _judge(report: Any, allowed: str | None = None) -> None:
    """Turn a skip into a failure unless it is allowed."""
    if os.environ.get("CI") != "true" or not report.skipped:
        return
    _, _, reason = report.longrepr
    if not any(words in reason for words in (*ALLOWED, *([allowed] if allowed else []))):
        report.outcome = "failed"
        report.longrepr = f"{reason}: nothing may be skipped under CI=true, except as tests/support/skips.py says"
