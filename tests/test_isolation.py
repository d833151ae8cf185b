"""No command opens the network, starts a process, writes outside its folder or runs anything that stands in the data.

The commands run in a process of their own, which an audit hook of the interpreter ends at the first forbidden event.
"""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from invented import NOTES, store_of, write_shapes

from trayconcord.generators.cli import _parser
from trayconcord.shapes import rules
from trayconcord.shapes.check import check

AUDITED = Path(__file__).parent / "support" / "audited.py"
MARK = "mark7f3a"
CODE = "{{ 7*7 }}{% for x in ().__class__.__mro__ %}`id` $(id) __import__('os').system('touch pwned') " + MARK

FORM = f"""\
source: {{id: hostile-work, title: "{CODE}", authors: ["{CODE}"], year: 2020, kind: textbook, container: "{CODE}",
         note: !!python/object/apply:os.system "{CODE}", doi: "10.1000/{MARK}", language: en}}
claims:
- {{parameter: spacer-thickness, value: 2 mm, at: "{CODE}", note: "{CODE}", obtained: read}}
- {{parameter: stop-count, value: 3, at: "<script>{MARK}</script>", obtained: reported, reported-by: other-work}}
- {{parameter: procedure, value: [draw-outline, adapt-spacer, cut-stops], obtained: read}}
"""
OTHER = f"""\
source: {{id: other-work, title: "Other {CODE}", year: 2021, kind: textbook}}
claims:
- {{parameter: spacer-thickness, value: 1 mm, at: "{CODE}", obtained: read}}
- {{parameter: stop-count, value: 3, at: "{CODE}", obtained: read}}
- {{parameter: procedure, value: [adapt-spacer, draw-outline], obtained: read}}
rulings:
- {{parameter: spacer-thickness, value: 1 mm, because: "{CODE}", decided-on: 2026-05-12, decided-by: "{CODE}"}}
cases:
- {{id: a-case, label: "{CODE}", when: {{arch: maxillary}}, asks: [spacer-thickness]}}
"""
SHAPES = f"""\
@prefix bibo: <http://purl.org/ontology/bibo/> .
@prefix ours: <https://example.org/our-rules#> .
@prefix owl: <http://www.w3.org/2002/07/owl#> .
@prefix sh: <http://www.w3.org/ns/shacl#> .
@prefix tc: <https://w3id.org/trayconcord/def/> .
<> owl:imports <http://127.0.0.1:9/ontology> .
ours:import a sh:NodeShape ; sh:targetClass tc:Source ; sh:shapesGraph <http://127.0.0.1:9/> ; sh:message "{CODE}" ;
    sh:property [ sh:path bibo:doi ; sh:maxLength 3 ; sh:message "{CODE}" ] .
ours:from a sh:NodeShape ; sh:targetClass tc:Source ;
    sh:sparql [ sh:message "m" ; sh:select "SELECT $this FROM <http://127.0.0.1:9/> WHERE {{ $this ?p ?o }}" ] .
ours:file a sh:NodeShape ; sh:targetClass tc:Source ;
    sh:sparql [ sh:message "m" ; sh:select "SELECT $this WHERE {{ GRAPH <file:///etc/passwd> {{ $this ?p ?o }} }}" ] .
"""
MEASURED = f"""\
label: "{CODE}"
trays: [{{id: T-01, note: "{CODE}", measured: {{spacer-thickness: {{value: 2 mm, note: "{CODE}"}}, stop-count: 3}}}}]
"""
MANUSCRIPT = """\
<p>{{ both("spacer-thickness", "a-case") }}
{{ value("stop-count", "a-case", contested="positions", single="say") }} {{ references() }}</p>
"""
SERVICES = {
    "plain": "SERVICE <http://127.0.0.1:9/> {{ ?s ?p ?o }}",
    "lower case": "service <http://127.0.0.1:9/> {{ ?s ?p ?o }}",
    "escaped": "S\\\\u0045RVICE <http://127.0.0.1:9/> {{ ?s ?p ?o }}",
    "long escape": "\\\\U00000053ERVICE SILENT <http://127.0.0.1:9/> {{ ?s ?p ?o }}",
    "after a number": "?s ?p 1SERVICE <http://127.0.0.1:9/> {{ ?s ?p ?o }}",
}
CASE = f'label: "{CODE}"\ncase: {{arch: maxillary}}\n'
PLAN = f'title: "{CODE}"\nfigures: yes\ncharts: yes\nchapters: [{{title: "{CODE}", of: [spacer-and-relief]}}]\n'
BANK = {
    "items": [{"id": "x", "question": CODE, "answer": CODE, "parameter": "stop-count", "when": {}}],
    "withdrawn": [],
}

STORE = ["--only", "--kb", "kb"]
COMMANDS: dict[str, list[list[str]]] = {
    "add": [["add", *STORE, "form.yaml", "other.yaml"]],
    "form": [["form", "hostile-work", *STORE]],
    "check": [
        *(["check", *STORE, "--shapes", "shapes.ttl", "--format", f] for f in ("text", "json", "sarif")),
        ["check", *STORE, "--cache", "kept"],
        ["check", *STORE, "--cache", "kept"],
    ],
    "compare": [["compare", *STORE], ["compare", "stop-count", "--format", "json", *STORE]],
    "agenda": [["agenda", *STORE, "--format", f] for f in ("text", "json", "form")],
    "build": [["build", *STORE, "--out", "site", "--previous", "bank.json"]],
    "export": [["export", *STORE, "--out", "rules"], ["export", *STORE, "--format", "yaml"]],
    "changes": [["changes", "--only", "site", "kb", "--format", f] for f in ("text", "json", "html", "notes")],
    "plan": [["plan", *STORE, "case.yaml", "--format", f] for f in ("text", "json", "card")],
    "why": [["why", "spacer-thickness", "case.yaml", *STORE]],
    "mark": [
        ["mark", *STORE, "measured.yaml", "--case", "arch=maxillary", "--format", f]
        for f in ("text", "json", "csv", "html")
    ],
    "render": [["render", *STORE, "manual.html.j2"], ["render", *STORE, "--check", "manual.html"]],
    "sheets": [["sheets", "plan.yaml", *STORE, "--out", "sheets"]],
    "items": [["items", *STORE, "--format", "qti", "--out", "items.zip"], ["items", *STORE, "--previous", "bank.json"]],
    "publish": [["publish", *STORE, "--endpoint", MARK]],  # no address: told before anything is opened
    "demo": [["demo", "demo"]],
    "explain": [["explain", "contested-topic"]],
    "terms": [["terms", MARK, *STORE]],
}
"""For every command what is typed. A new command is a line here."""


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, list[int]]]:
    """The folder in which every command ran on hostile data, and the statuses, by command."""
    folder = tmp_path_factory.mktemp("hostile")
    files = {"form.yaml": FORM, "other.yaml": OTHER, "shapes.ttl": SHAPES, "case.yaml": CASE, "plan.yaml": PLAN,
             "measured.yaml": MEASURED, "manual.html.j2": MANUSCRIPT}  # fmt: skip
    for name, text in (files | {"bank.json": json.dumps(BANK)}).items():
        (folder / name).write_text(text, encoding="utf-8")
    typed = [arguments for commands in COMMANDS.values() for arguments in commands]
    result = audited(folder, typed)
    assert result.returncode == 0, result.stderr[-3000:]
    statuses = iter(json.loads(result.stdout))
    return folder, {name: [next(statuses) for _ in commands] for name, commands in COMMANDS.items()}


def audited(folder: Path, typed: list[list[str]]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, AUDITED, folder, MARK],
        input=json.dumps(typed),
        capture_output=True,
        text=True,
        timeout=300,
        env={**os.environ, "HOME": str(folder)},
    )


def test_every_command_is_run() -> None:
    (subcommands,) = [action for action in _parser()._actions if action.choices and action.dest != "format"]
    assert set(subcommands.choices or ()) == set(COMMANDS)


def test_every_command_does_its_work_and_no_more(ran: tuple[Path, dict[str, list[int]]]) -> None:
    folder, statuses = ran
    # A check of three shapes of which two cannot be run says so; the store itself has an order both ways round.
    assert {name for name, found in statuses.items() if set(found) - {0, 1}} == {"check", "publish"}
    for said in folder.glob("said-*.txt"):
        assert "Traceback" not in said.read_text(encoding="utf-8")
    assert not list(folder.rglob("pwned"))
    made = {
        "kb",
        "site",
        "sheets",
        "items.zip",
        "kept",
        "demo",
        "rules",
        "manual.html.j2",
        "manual.html",
        *(f"said-{n}.txt" for n in range(60)),
    }
    assert set(os.listdir(folder)) <= made | {
        p.name for p in folder.glob("*.*") if p.suffix in (".yaml", ".ttl", ".json")
    }
    assert (folder / "site" / "index.html").is_file() and (folder / "items.zip").is_file()


def test_what_the_data_holds_is_shown_as_text(ran: tuple[Path, dict[str, list[int]]]) -> None:
    folder, _ = ran
    page = (folder / "site" / "sources.html").read_text(encoding="utf-8")
    assert "{{ 7*7 }}" in page and MARK in page
    assert f"<script>{MARK}" not in page


@pytest.mark.parametrize("query", SERVICES.values(), ids=SERVICES)
def test_no_way_to_write_service_opens_the_network(query: str, tmp_path: Path) -> None:
    shape = f"""
    <https://example.org/r#ours> a sh:NodeShape ; sh:targetNode <https://example.org/x> ;
      sh:sparql [ sh:message "m" ; sh:select "SELECT $this WHERE {{ {query.format()} }}" ] ."""
    head = "@prefix sh: <http://www.w3.org/ns/shacl#> .\n"
    (tmp_path / "shapes.ttl").write_text(head + shape, encoding="utf-8")
    result = audited(tmp_path, [["check", "--only", "--shapes", "shapes.ttl"]])
    assert result.returncode == 0, result.stderr
    assert json.loads(result.stdout) == [2]
    assert "SERVICE" in (tmp_path / "said-0.txt").read_text(encoding="utf-8")


@pytest.mark.parametrize("query", SERVICES.values(), ids=SERVICES)
def test_nor_does_the_engine_where_the_wording_gets_by(
    query: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, no_network: None
) -> None:
    monkeypatch.setattr(rules, "_refuse_service", lambda *_: None)
    body = f"""ours:q a sh:NodeShape ; sh:targetNode ours:x ;
      sh:sparql [ sh:message "m" ; sh:select "SELECT $this WHERE {{ {query.format()} }}" ] ."""
    store = store_of(tmp_path, NOTES)
    report = check(store, rules.rule_book([write_shapes(tmp_path, body)]))
    assert report.states["q"] == "errored"
    assert "SERVICE" in report.errors["q"]


@pytest.mark.parametrize(
    "deed",
    [
        "__import__('socket').socket()",
        "__import__('subprocess').run(['true'])",
        "__import__('os').system('true')",
        "open('/tmp/trayconcord-outside', 'w')",
        "__import__('os').mkdir('/tmp/trayconcord-outside')",
        f"eval('\"{MARK}\"')",
        f"compile('x = \"{MARK}\"', 'x', 'exec')",
    ],
)
def test_the_guard_of_these_tests_guards(deed: str, tmp_path: Path) -> None:
    program = (
        f"import sys; sys.path.insert(0, {str(AUDITED.parent)!r}); sys.argv = ['x', {str(tmp_path)!r}, {MARK!r}]\n"
    )
    program += "import audited\nsys.addaudithook(audited.hook)\n"
    (tmp_path / "deed.txt").write_text(deed, encoding="utf-8")
    program += f"exec(open({str(tmp_path / 'deed.txt')!r}).read().replace({MARK!r}, 'mark7' + 'f3a'))"
    result = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert result.returncode == 97, result.stderr
    assert "forbidden" in result.stderr
