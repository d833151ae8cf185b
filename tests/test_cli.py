"""The command line: help, errors with a way out, what is imported when, and no traceback whatever is typed."""

import contextlib
import io
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from invented import NOTES, enter_forms, write_shapes

from trayconcord.generators import guide
from trayconcord.generators.cli import main
from trayconcord.kb.store import load
from trayconcord.shapes.rules import page_names

COMMANDS = (
    "add", "form", "check", "compare", "agenda", "build", "export", "publish", "changes", "plan", "why", "mark",
    "sheets", "items", "render", "demo", "explain", "terms",
)  # fmt: skip
REFUSED = NOTES.replace("value: 3,", "value: some,")


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Every command of these tests runs in a folder of its own, which is not empty."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "notes.yaml").write_text(NOTES, encoding="utf-8")
    return tmp_path


def status(*arguments: str) -> int:
    """The exit status of a command, also where the parser of arguments ends it."""
    try:
        return main(list(arguments))
    except SystemExit as end:
        assert isinstance(end.code, int)
        return end.code


def in_a_process(
    *arguments: str, code: str = "", environment: dict[str, str] | None = None
) -> subprocess.CompletedProcess[str]:
    """The same in a process of its own, with Python code to be run in place of the command."""
    command = ["-c", code] if code else ["-m", "trayconcord.generators.cli"]
    return subprocess.run(
        [sys.executable, *command, *arguments],
        capture_output=True, encoding="utf-8", timeout=60, env=os.environ | (environment or {}),
    )  # fmt: skip


# --- help ---


@pytest.mark.parametrize("command", COMMANDS)
def test_the_help_of_a_command_shows_an_example_that_its_parser_takes(
    command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert status(command, "--help") == 0
    text = capsys.readouterr().out
    example = re.search(rf"^example:\n  (trayconcord {command}( .*)?)$", text, re.MULTILINE)
    assert example is not None
    assert text.startswith(f"usage: trayconcord {command} ")
    flags = set(re.findall(r" (--[a-z]+)", example[1]))
    assert flags <= set(re.findall(r"(--[a-z]+)", text.replace(example[0], "")))


def test_help_lists_every_command_and_no_other(capsys: pytest.CaptureFixture[str]) -> None:
    assert status("--help") == 0
    listed = re.findall(r"^    ([a-z]+) +\S", capsys.readouterr().out, re.MULTILINE)
    assert tuple(listed) == COMMANDS


def test_no_command_is_a_plea_for_help(capsys: pytest.CaptureFixture[str]) -> None:
    assert status() == 0
    assert capsys.readouterr().out.startswith("usage: trayconcord ")


def test_the_version_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    assert status("--version") == 0
    assert re.fullmatch(r"trayconcord \d+\.\d+\.\d+\n", capsys.readouterr().out)


# --- unusable arguments ---


@pytest.mark.parametrize(
    ("arguments", "words", "fix"),
    [
        (["form", "komiyama-2005"], "komiyama-2005: no source has this id", "did you mean komiyama-2004?"),
        (["form", "§"], "§: no source has this id", "fix: "),
        (["explain", "contested-topics"], "no page has this name", "did you mean contested-topic?"),
        (["explain", "../cli"], "no page has this name", "trayconcord explain"),
        (["compare", "tray-fitt"], "no parameter tray-fitt", "did you mean tray-fit?"),
        (["check", "--kb", "nowhere"], "nowhere: is not a folder", "fix: "),
        (["check", "--kb", "a" * 300], "File name too long", "name another file"),
        (["check", "--shapes", "a" * 300], "File name too long", "name another file"),
        (["build", "--only", "--out", "a" * 300], "File name too long", "choose another --out"),
        (["demo", "a" * 300], "File name too long", "fix: "),
        (["add", "a" * 300], "File name too long", "fix: "),
        (["add", "--kb", "a" * 300, "notes.yaml"], "File name too long", "fix: "),
        (["check", "--kb", "notes.yaml"], "notes.yaml: is not a folder", "fix: "),
        (["check", "--only", "--shapes", "nowhere.ttl"], "nowhere.ttl: does not exist", "fix: "),
        (["build", "--only", "--out", "/"], "/: is no folder of its own", "choose another --out"),
        (["build", "--only", "--out", "."], "holds files that no build made", "empty or new folder"),
        (["build", "--only", "--out", "notes.yaml"], "is a file", "choose a folder for --out"),
        (["build", "--only", "--out", "notes.yaml/site"], "cannot be written", "choose another --out"),
        (["demo", "."], "exists already", "name a folder that does not exist yet"),
        (["demo", "notes.yaml"], "exists already", "fix: "),
        (["demo", "notes.yaml/demo"], "cannot be written", "choose another folder"),
        (["add", "nowhere.yaml"], "nowhere.yaml: cannot be read", "fix: "),
        (["add", "."], "cannot be read", "fix: "),
        (["add", "--kb", "notes.yaml", "notes.yaml"], "notes.yaml: ", "fix: "),
    ],
)
def test_what_is_not_there_is_told_with_a_way_out(
    arguments: list[str], words: str, fix: str, here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert status(*arguments) == 2
    captured = capsys.readouterr()
    assert words in captured.err
    assert fix in captured.err
    assert captured.out == ""
    assert os.listdir(here) == ["notes.yaml"]
    assert (here / "notes.yaml").read_text(encoding="utf-8") == NOTES


@pytest.mark.parametrize(
    "arguments", [["frobnicate"], ["check", "--format", "xml"], ["form"], ["add"], ["--only", "check"]]
)
def test_arguments_that_make_no_sense_end_with_2(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert status(*arguments) == 2
    assert capsys.readouterr().err.startswith("usage: trayconcord")


# --- entering forms ---


def test_add_says_what_it_wrote_and_what_the_check_finds(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert status("add", "--kb", "kb", "notes.yaml") == 0
    out = capsys.readouterr().out
    assert out.startswith("wrote kb/sources/invented-notes.ttl\n")
    assert "Nobody 2020, p. 1 (read) kb/sources/invented-notes.ttl:" in out
    assert out.rstrip().endswith("that touch what was entered")
    assert "invented-notes" in load([here / "kb"], only=True).sources


def test_add_without_a_store_writes_one_here_and_never_into_the_package(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shipped_before = set(load().sources)
    assert status("add", "notes.yaml") == 0
    assert capsys.readouterr().out.startswith("wrote trayconcord-kb/sources/invented-notes.ttl\n")
    assert (here / "trayconcord-kb" / "sources" / "invented-notes.ttl").is_file()
    assert set(load().sources) == shipped_before


def test_add_refuses_a_store_in_an_installed_package(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    installed = here / "site-packages" / "trayconcord" / "kb"
    installed.mkdir(parents=True)
    assert status("add", "--kb", str(installed), "notes.yaml") == 2
    assert "fix: name a folder of your own with --kb" in capsys.readouterr().err
    assert list(installed.iterdir()) == []


def test_a_form_that_is_added_again_is_replaced_and_the_store_stays(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert status("add", "--only", "--kb", "kb", "notes.yaml") == 0
    first = (here / "kb" / "sources" / "invented-notes.ttl").read_bytes()
    capsys.readouterr()
    assert status("add", "--only", "--kb", "kb", "notes.yaml") == 0
    assert capsys.readouterr().out.startswith("replaced kb/sources/invented-notes.ttl\n")
    assert (here / "kb" / "sources" / "invented-notes.ttl").read_bytes() == first


def test_a_form_that_is_refused_leaves_nothing_behind(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "refused.yaml").write_text(REFUSED, encoding="utf-8")
    assert status("add", "refused.yaml") == 2
    assert status("add", "--kb", "kb", "notes.yaml", "refused.yaml") == 2
    assert re.search(r"^refused\.yaml:5:\d+: value: ", capsys.readouterr().err, re.MULTILINE)
    assert sorted(os.listdir(here)) == ["notes.yaml", "refused.yaml"]


def test_a_form_goes_into_the_last_of_several_stores(here: Path) -> None:
    enter_forms(here, NOTES.replace("invented-notes", "invented-others"), name="first")
    assert status("add", "--only", "--kb", "first", "--kb", "second", "notes.yaml") == 0
    assert [path.name for path in (here / "first" / "sources").iterdir()] == ["invented-others.ttl"]
    assert [path.name for path in (here / "second" / "sources").iterdir()] == ["invented-notes.ttl"]


def test_a_printed_form_can_be_added_and_says_the_same(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert status("form", "komiyama-2004") == 0
    printed = capsys.readouterr().out
    (here / "printed.yaml").write_text(printed, encoding="utf-8")
    assert status("add", "--only", "--kb", "kb", "printed.yaml") == 0
    store = load([here / "kb"], only=True)
    assert store.claims == load().claims_of("komiyama-2004")
    capsys.readouterr()
    assert status("form", "--only", "--kb", "kb", "komiyama-2004") == 0
    assert capsys.readouterr().out == printed


# --- asking ---


def test_terms_are_found_by_the_names_that_the_trade_uses(capsys: pytest.CaptureFixture[str]) -> None:
    for word, term in (("alginate", "irreversible-hydrocolloid"), ("ZOE paste", "zinc-oxide-eugenol-paste")):
        assert status("terms", word) == 0
        assert re.search(rf"^  {term}\b.*\(also: .*{word}", capsys.readouterr().out, re.MULTILINE)
    assert status("terms", "xylophone") == 0
    assert capsys.readouterr().out == "no term holds xylophone\n"


def test_terms_lists_every_parameter_and_axis(capsys: pytest.CaptureFixture[str]) -> None:
    assert status("terms") == 0
    listed = set(re.findall(r"^  ([a-z0-9-]+)", capsys.readouterr().out, re.MULTILINE))
    vocabulary = load(only=True).vocabulary
    assert {*vocabulary.parameters, *vocabulary.axes, *vocabulary.kinds} <= listed


def test_explain_lists_the_pages_and_prints_each(capsys: pytest.CaptureFixture[str]) -> None:
    assert status("explain") == 0
    listed = [line.split()[0] for line in capsys.readouterr().out.splitlines() if line.startswith("  ")]
    assert listed == [*guide.page_names(), *page_names()]
    assert status("explain", "contested-topic") == 0
    assert capsys.readouterr().out.startswith("# contested-topic\n")


def test_a_build_says_where_to_start_and_that_there_are_violations(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert status("build", "--kb", str(enter_forms(here, NOTES)), "--only") == 0
    assert capsys.readouterr().out.endswith("start at site/index.html\n")
    orphan = NOTES.replace("obtained: read}", "obtained: reported, reported-by: nowhere-1990}")
    assert status("build", "--kb", str(enter_forms(here, orphan, name="orphan")), "--only") == 1
    assert "the store has 2 violations" in capsys.readouterr().err


# --- what is imported when ---

PROBE = """
import sys
from trayconcord.generators.cli import main
try:
    main(sys.argv[1:])
except SystemExit:
    pass
print(*sorted({"jinja2", "pyshacl", "rdflib"} & set(sys.modules)), file=sys.stderr)
"""


@pytest.mark.parametrize(
    ("arguments", "allowed"),
    [
        (["--version"], set()),
        (["--help"], set()),
        (["check", "--help"], set()),
        (["form", "--only", "nothing"], {"rdflib"}),
        (["form", "komiyama-2004"], {"rdflib"}),
        (["compare", "--only"], {"rdflib"}),
        (["check", "--only"], {"rdflib"}),
        (["terms", "arch"], {"rdflib"}),
        (["explain", "contested-topic"], {"rdflib"}),
    ],
)
def test_a_command_imports_no_library_that_it_does_not_need(arguments: list[str], allowed: set[str]) -> None:
    done = in_a_process(*arguments, code=PROBE)
    assert set(done.stderr.splitlines()[-1].split()) <= allowed


def test_the_probe_for_imports_sees_them(tmp_path: Path) -> None:
    # a decoy: a shape of a department that is no flat one does need the engine, and the probe says so
    shapes = write_shapes(tmp_path, "ours:any sh:targetClass tc:Claim ; sh:nodeKind sh:IRI .")
    done = in_a_process("check", "--only", "--shapes", str(shapes), code=PROBE)
    assert "pyshacl" in done.stderr.splitlines()[-1]


# --- pipes and terminals ---


def test_output_is_utf_8_also_where_the_terminal_is_not() -> None:
    done = in_a_process("form", "neill-spacer-design", environment={"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"})
    assert done.returncode == 0
    assert done.stderr == ""
    everything = in_a_process("check", "--all", environment={"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"})
    assert everything.returncode == 0
    assert "“" in everything.stdout


def test_bytes_that_are_no_text_are_an_argument_like_another() -> None:
    command = [sys.executable, "-m", "trayconcord.generators.cli"]
    for arguments, expected in (
        ([b"terms", b"\xff"], 0),
        ([b"explain", b"\xff"], 2),
        ([b"form", b"--only", b"\xff"], 2),
    ):
        done = subprocess.run([*command, *arguments], capture_output=True)
        assert done.returncode == expected
        assert b"Traceback" not in done.stderr


def test_a_reader_that_stops_early_is_no_error() -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "trayconcord.generators.cli", "check", "--all"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as process:
        assert process.stdout is not None and process.stderr is not None
        process.stdout.readline()
        process.stdout.close()
        assert process.stderr.read() == b""
        assert process.wait() in (0, 1, 2)


# --- whatever is typed ---

FLAGS = [
    "--kb",
    "--only",
    "--out",
    "--format",
    "--all",
    "--shapes",
    "--help",
    "--version",
    "--",
    "-h",
    "-x",
    "--kb=",
    "--form",
]
WORDS = [
    "", ".", "..", "/", "~", "kb", "notes.yaml", "nowhere", "json", "text", "sarif", "arch", "?", "&", "=",
    "spacer-thickness", "spacer-thickness?", "spacer-thickness?arch=maxillary", "spacer-thickness?arch=x&arch=",
    "contested-topic", "../contested-topic", "invented-notes", "alginate", "%s", "{0}", "a" * 300, "\u202e",
    "\udcff", "🦷",
]  # fmt: skip
words = st.one_of(st.sampled_from(FLAGS), st.sampled_from(WORDS), st.text("ab-=?& é\u202e\udcff.", max_size=6))
# mostly without the shipped sources, which take their time to load
arguments = st.tuples(
    st.sampled_from([[command, "--only"] for command in COMMANDS] + [["compare"], ["check"], ["terms"], []]),
    st.lists(words, max_size=4),
).map(lambda pair: pair[0] + pair[1])


def takes(typed: list[str]) -> None:
    """Whatever is typed, the status is one of three and nothing but messages comes out."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2))
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        result = status(*typed)
    err.flush()
    said = err.buffer.getvalue().decode("utf-8")  # type: ignore[attr-defined]
    assert result in (0, 1, 2)
    assert "Traceback" not in said
    assert said or result != 2


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(typed=arguments)
def test_no_arguments_make_a_command_fall_over(typed: list[str]) -> None:
    takes(typed)


@pytest.mark.slow
@settings(max_examples=2000, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(typed=arguments)
def test_no_arguments_at_all_make_a_command_fall_over(typed: list[str]) -> None:
    takes(typed)


def test_conditions_that_do_not_occur_together_are_refused_by_every_command(capsys: pytest.CaptureFixture[str]) -> None:
    case = ["fabrication-method=sprinkle-on", "tray-material=light-cured-resin"]
    for command in (
        ["plan", *case],
        ["why", "spacer-thickness", *case],
        ["mark", "--format", "sheet", "--case", *case],
    ):
        assert main(command) == 2
        assert "sprinkle-on does not go with light-cured resin" in capsys.readouterr().err


def test_a_store_without_a_marking_policy_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["form", "marking"]) == 2
    assert "holds no marking policy" in capsys.readouterr().err
