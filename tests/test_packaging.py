"""The wheel: built from a copy, installed elsewhere, run from another folder, with its data files."""

import os
import shutil
import subprocess
import sys
import sysconfig
import venv
import zipfile
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
ROOMS = ("kb", "shapes", "generators")


def builds_wheels_here() -> bool:
    """Whether the setuptools at hand can build a wheel by itself, which it can from 70.1 on."""
    try:
        return tuple(int(part) for part in version("setuptools").split(".")[:2]) >= (70, 1)
    except (PackageNotFoundError, ValueError):
        return False


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    copy = folder / "copy"
    copy.mkdir()
    for name in ("README.md", "pyproject.toml"):
        shutil.copy(ROOT / name, copy / name)
    for room in ROOMS:
        shutil.copytree(ROOT / room, copy / room, ignore=shutil.ignore_patterns("__pycache__"))
    isolation = ["--no-build-isolation"] if builds_wheels_here() else []
    command = [sys.executable, "-m", "pip", "wheel", str(copy), "--no-deps", "-q", "-w", str(folder), *isolation]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stderr
    (built,) = folder.glob("trayconcord-*.whl")
    return built


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the commands of a fresh environment that holds the wheel."""
    folder = tmp_path_factory.mktemp("installed")
    venv.create(folder / "env", with_pip=False)
    paths = sysconfig.get_paths(vars={"base": str(folder / "env"), "platbase": str(folder / "env")})
    site, commands = Path(paths["purelib"]), Path(paths["scripts"])
    target = ["--no-deps", "--no-index", "-q", "--target", str(site)]
    done = subprocess.run(
        [sys.executable, "-m", "pip", "install", *target, str(wheel)], cwd=folder, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    # The libraries are those of the environment that runs this test. A path file adds them after the wheel, and does
    # not read the path files found there, by which the project would come in from its checkout.
    libraries = [path for path in sys.path if path.endswith(("site-packages", "dist-packages"))]
    (site / "libraries.pth").write_text("\n".join(libraries) + "\n")
    return commands


def run(commands: Path, folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run the installed project in a folder of its own, without the checkout on the path."""
    environment = {key: text for key, text in os.environ.items() if not key.startswith("PYTHON")}
    command = [str(commands / "python"), "-m", "trayconcord.generators.cli"]
    return subprocess.run(
        [*command, *arguments], cwd=folder, env=environment, capture_output=True, text=True, timeout=120
    )


def test_the_wheel_holds_the_data_of_all_three_rooms(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        names = set(archive.namelist())
    missing = []
    for room in ROOMS:
        assert f"trayconcord/{room}/py.typed" in names
        for path in (ROOT / room).rglob("*"):
            inside = f"trayconcord/{path.relative_to(ROOT).as_posix()}"
            if path.is_file() and path.suffix in (".py", ".ttl", ".md", ".j2", ".css", ".yaml") and inside not in names:
                missing.append(inside)
    assert missing == []
    for sample in ("kb/sources/common-practice.ttl", "shapes/rules/contested-topic.md", "generators/demo/course.yaml"):
        assert f"trayconcord/{sample}" in names


def test_the_wheel_holds_nothing_else(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        tops = {name.split("/")[0] for name in archive.namelist()}
    assert {top for top in tops if not top.endswith(".dist-info")} == {"trayconcord"}


def test_the_wheel_has_a_command(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        (name,) = (name for name in archive.namelist() if name.endswith("entry_points.txt"))
        assert "trayconcord = trayconcord.generators.cli:main" in archive.read(name).decode()


@pytest.mark.slow
def test_the_installed_project_runs_from_another_folder(installed: Path, tmp_path: Path) -> None:
    code = "import sys, trayconcord.kb; print(trayconcord.kb.__file__, *sys.path, sep='\\n')"
    where = subprocess.run(
        [str(installed / "python"), "-c", code], cwd=tmp_path, capture_output=True, text=True, check=True
    ).stdout.splitlines()
    assert Path(where[0]).is_relative_to(installed.parent)
    assert str(ROOT) not in where[1:]

    checked = run(installed, tmp_path, "check", "--only")
    assert checked.returncode == 0, checked.stderr
    assert checked.stdout.startswith("0 claims from 0 sources")
    checked = run(installed, tmp_path, "check")
    assert checked.returncode == 0, checked.stderr
    assert "contested-topic: " in checked.stdout

    built = run(installed, tmp_path, "build", "--out", "site")
    assert built.returncode == 0, built.stderr
    assert (tmp_path / "site" / "reconciliation.html").stat().st_size > 100_000
    assert (tmp_path / "site" / "export" / "rules.ttl").is_file()

    explained = run(installed, tmp_path, "explain", "contested-topic")
    assert explained.stdout == (ROOT / "shapes" / "rules" / "contested-topic.md").read_text(encoding="utf-8")


@pytest.mark.slow
def test_the_installed_project_enters_forms_beside_itself(installed: Path, tmp_path: Path) -> None:
    assert run(installed, tmp_path, "demo", "harrow-vale").returncode == 0
    entered = run(installed, tmp_path, "add", "harrow-vale/handout-2019.yaml")
    assert entered.returncode == 0, entered.stderr
    assert (tmp_path / "trayconcord-kb" / "sources" / "harrow-vale-2019.ttl").is_file()
    assert not list(installed.parent.rglob("harrow-vale-2019.ttl"))
