"""How the project is laid out: imports go one way, files stay short, and no resource lacks a name."""

import ast
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from rdflib import BNode, Graph

ROOT = Path(__file__).parent.parent
BELOW = {"kb": set(), "shapes": {"kb"}, "generators": {"shapes", "kb"}}
"""Each folder, and the folders that it may import from besides itself."""

LONGEST = 400
"""Lines of a file that is one idea."""


def modules(folder: str) -> list[Path]:
    return sorted((ROOT / folder).rglob("*.py"))


def imported(path: Path) -> Iterator[tuple[int, str]]:
    """Line and dotted name of everything that a module imports, also inside functions and by name."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, name.name) for name in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}:{node.lineno}: a relative import hides which room it reaches into"
            yield node.lineno, node.module or ""
            yield from ((node.lineno, f"{node.module}.{name.name}") for name in node.names)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and node.value.startswith("trayconcord."):
            yield node.lineno, node.value  # the name of a package whose data files are opened


def reached(name: str) -> str | None:
    """The room that a dotted name lies in."""
    parts = name.split(".")
    return parts[1] if parts[0] == "trayconcord" and len(parts) > 1 else None


@pytest.mark.parametrize("folder", BELOW)
def test_imports_go_one_way(folder: str) -> None:
    seen = set()
    for path in modules(folder):
        for line, name in imported(path):
            room = reached(name)
            if room is not None:
                seen.add(room)
                assert room in BELOW[folder] | {folder}, f"{path.relative_to(ROOT)}:{line} imports {name}"
            assert not name.startswith("tests") and name.split(".")[0] not in BELOW, f"{path}:{line}: {name}"
    assert seen >= BELOW[folder]  # or this test looked at nothing


def test_the_walk_sees_an_import_inside_a_function(tmp_path: Path) -> None:
    # a decoy: the commands import what they need when they need it
    module = tmp_path / "module.py"
    module.write_text(
        "def f():\n    from trayconcord.generators import cli\n    import trayconcord.shapes.check as c\n"
    )
    assert {reached(name) for _, name in imported(module)} == {"generators", "shapes"}


def test_one_module_alone_can_open_the_network() -> None:
    network = {"asyncio", "ftplib", "http", "smtplib", "socket", "ssl", "urllib.request", "xmlrpc", "requests", "httpx"}
    found = {
        str(path.relative_to(ROOT))
        for folder in BELOW
        for path in modules(folder)
        for _, name in imported(path)
        if name in network or name.split(".")[0] in network or name.startswith("urllib.request")
    }
    assert found == {"kb/sparql_service.py"}


def test_no_file_is_too_long_to_read() -> None:
    lengths = {
        str(path.relative_to(ROOT)): len(path.read_text(encoding="utf-8").splitlines())
        for folder in (*BELOW, "tests")
        for path in modules(folder)
    }
    assert {name for name, length in lengths.items() if length > LONGEST} == set()


@pytest.mark.parametrize(
    "path", [pytest.param(p, id=p.stem) for folder in ("kb", "shapes") for p in sorted((ROOT / folder).rglob("*.ttl"))]
)
def test_every_resource_has_an_iri(path: Path) -> None:
    graph = Graph().parse(path, format="turtle")
    assert len(graph) > 0
    assert not [term for triple in graph for term in triple if isinstance(term, BNode)]


def test_the_top_level_holds_these_and_no_more() -> None:
    command = ["git", "ls-files", "--cached"]
    if not (ROOT / ".git").exists() or shutil.which("git") is None:
        pytest.skip("not a checkout")
    listed = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
    if listed.returncode:
        pytest.skip("git does not list this checkout")
    tops = {name.split("/")[0] for name in listed.stdout.splitlines()}
    assert {top for top in tops if not top.startswith(".")} == {
        "README.md", "DEVELOPERS.md", "pyproject.toml", "tests", *BELOW,
    }  # fmt: skip


def test_every_module_stands_in_the_contributors_guide() -> None:
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = set()
    for cell in re.findall(r"^\| ((?:kb|shapes|generators)/[^|]+) \|", guide, re.MULTILINE):
        room = ""
        for name in cell.split(", "):
            room, _, module = name.rpartition("/") if "/" in name else (room, "", name)
            named.add(f"{room}/{module}")
    modules_there = {
        str(path.relative_to(ROOT).with_suffix(""))
        for folder in BELOW
        for path in modules(folder)
        if path.name != "__init__.py" and "contract" not in path.parts
    }
    assert named == modules_there
