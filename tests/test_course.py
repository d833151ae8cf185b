"""The Python interface: its examples run, and it answers as the command line does."""

import doctest
import json
from pathlib import Path

import pytest

from trayconcord.generators import course as module
from trayconcord.generators.cli import main
from trayconcord.generators.course import Course
from trayconcord.generators.plan_output import plan_object
from trayconcord.kb.errors import UnusableInput


def test_the_examples_run() -> None:
    done = doctest.testmod(module)
    assert done.attempted >= 15 and done.failed == 0


def test_it_answers_as_the_command_line_does(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", "arch=maxillary", "impression-material=polyether", "--format", "json"]) == 0
    course = Course()
    made = course.plan(course.case(arch="maxillary", impression_material="polyether"))
    assert json.loads(capsys.readouterr().out) == json.loads(json.dumps(plan_object(made), default=str))


def test_a_store_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(UnusableInput, match="is not a folder"):
        Course(tmp_path / "nowhere").comparison  # noqa: B018
