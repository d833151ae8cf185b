"""The guide is real: every command and option has its page, and every example on it runs and prints what it shows."""

import argparse
import doctest
import re
import shlex
import shutil
from pathlib import Path

import pytest
from invented import enter_demo
from shown import BLOCK, WRITE, agrees, renewed, steps

from trayconcord.generators import guide
from trayconcord.generators.cli import _parser, main

FOLDER = Path(guide.__file__).parent / "guide"
PARSER = next(a for a in _parser()._actions if isinstance(a, argparse._SubParsersAction))


@pytest.fixture(scope="module")
def department(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo as every page finds it: laid out, and entered."""
    folder = tmp_path_factory.mktemp("guide")
    enter_demo(folder).parent.rename(folder / "harrow-vale")
    return folder


@pytest.mark.parametrize("name", guide.page_names())
def test_the_examples_print_what_they_show(
    name: str, department: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copytree(department, tmp_path, dirs_exist_ok=True)
    monkeypatch.chdir(tmp_path)
    text = renewed_text = (FOLDER / f"{name}.md").read_text(encoding="utf-8")
    ran = 0
    for language, block in BLOCK.findall(text):
        named = re.match(r"# ([\w.-]+)\n", block)
        if language == "pycon":
            examples = doctest.DocTestParser().get_doctest(block, {}, name, None, None)
            ran += len(examples.examples)
            assert doctest.DocTestRunner().run(examples).failed == 0
        elif language != "console" and named:
            Path(named[1]).write_text(block, encoding="utf-8")
        for command, shown in steps(block) if language == "console" else ():
            program, *arguments = shlex.split(command)
            assert program == "trayconcord", command
            main(arguments)
            captured = capsys.readouterr()
            printed = captured.out + captured.err
            ran += 1
            if WRITE:
                renewed_text = renewed_text.replace(
                    f"$ {command}\n{shown}", f"$ {command}\n{renewed(shown, printed)}", 1
                )
            else:
                assert agrees(shown, printed), f"$ {command}\n{printed}"
    assert ran, "a page without an example"
    if WRITE:
        (FOLDER / f"{name}.md").write_text(renewed_text, encoding="utf-8")


@pytest.mark.parametrize("command", sorted(PARSER.choices))
def test_the_page_of_a_command_names_its_options(command: str) -> None:
    text = guide.page(command)
    assert text is not None and text.startswith(f"# trayconcord {command}\n")
    for action in PARSER.choices[command]._actions:
        for option in action.option_strings:
            if option not in ("-h", "--help"):
                assert f"`{option}" in text, option
            for choice in action.choices or ():
                assert str(choice) in text


@pytest.mark.parametrize("name", guide.page_names())
def test_a_page_starts_with_one_sentence(name: str) -> None:
    title, first = (guide.page(name) or "").split("\n\n")[:2]
    assert title.startswith("# ") and first.endswith(".") and len(re.findall(r"\.(\s|$)", first)) == 1
