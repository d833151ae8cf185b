"""Building the folder: the same bytes every time, put in place whole, and nothing of anybody else's touched."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from invented import NOTES, enter_demo, store_of

from trayconcord.generators import build as build_module
from trayconcord.generators.build import build
from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.store import Store
from trayconcord.shapes.check import Report, check


def contents(folder: Path) -> dict[str, bytes]:
    """Every file below a folder, hidden ones too."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.slow
def test_two_builds_give_the_same_bytes_whatever_the_hash_seed(tmp_path: Path) -> None:
    layer = enter_demo(tmp_path)
    for seed in ("1", "2"):
        command = [sys.executable, "-m", "trayconcord.generators.cli", "build", "--kb", str(layer)]
        done = subprocess.run(
            [*command, "--out", str(tmp_path / seed)], env=os.environ | {"PYTHONHASHSEED": seed}, capture_output=True
        )
        assert done.returncode == 0, done.stderr
    assert contents(tmp_path / "1") == contents(tmp_path / "2")
    assert len(contents(tmp_path / "1")) > 50


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Report:
    return check(store_of(tmp_path_factory.mktemp("small"), NOTES))


def test_a_folder_that_no_build_made_is_left_alone(small: Report, tmp_path: Path) -> None:
    (tmp_path / "site").mkdir()
    (tmp_path / "site" / "thesis.txt").write_text("ten years of work")
    with pytest.raises(UnusableInput, match="holds files that no build made"):
        build(small, tmp_path / "site")
    assert contents(tmp_path) == {"site/thesis.txt": b"ten years of work"}
    (tmp_path / "file").write_text("a file")
    with pytest.raises(UnusableInput, match="is a file"):
        build(small, tmp_path / "file")
    assert (tmp_path / "file").read_text() == "a file"


def test_a_new_an_empty_and_an_earlier_folder_are_taken(small: Report, demo_store: Store, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    for out in (tmp_path / "empty", tmp_path / "new" / "below"):
        written = build(small, out)
        assert written == sorted(set(contents(out)) - {".built-by-trayconcord"})
    before = contents(tmp_path / "empty")
    build(check(demo_store), tmp_path / "empty")
    assert set(before) < set(contents(tmp_path / "empty"))
    assert contents(tmp_path / "empty")["index.html"] != before["index.html"]
    assert sorted(os.listdir(tmp_path)) == ["empty", "new"]


def test_a_file_of_an_earlier_build_does_not_stay(small: Report, tmp_path: Path) -> None:
    build(small, tmp_path / "site")
    (tmp_path / "site" / "old-page.html").write_text("gone with the next build")
    build(small, tmp_path / "site")
    assert not (tmp_path / "site" / "old-page.html").exists()


def test_a_folder_reached_by_a_link_is_replaced_where_it_lies(small: Report, tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to("real")
    for _ in range(2):
        build(small, tmp_path / "link")
        assert (tmp_path / "link").is_symlink()
        assert (tmp_path / "real" / "index.html").is_file()
    assert sorted(os.listdir(tmp_path)) == ["link", "real"]


def after(calls: int, method: object) -> object:
    """A function that does its work so many times and then finds the disk full."""
    left = [calls]

    def limited(*arguments: object, **options: object) -> object:
        left[0] -= 1
        if left[0] < 0:
            raise OSError(28, "No space left on device")
        return method(*arguments, **options)  # type: ignore[operator]

    return limited


@pytest.mark.parametrize("calls", range(9))
def test_a_build_that_cannot_write_leaves_the_earlier_one(
    calls: int, small: Report, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    build(small, tmp_path / "site")
    before = contents(tmp_path)
    monkeypatch.setattr(Path, "write_bytes", after(calls, Path.write_bytes))
    with pytest.raises(UnusableInput, match=r"No space left on device; nothing was changed"):
        build(small, tmp_path / "site")
    assert contents(tmp_path) == before
    assert os.listdir(tmp_path) == ["site"]


@pytest.mark.parametrize("calls", [0, 1])
def test_a_build_that_cannot_be_put_in_place_leaves_the_earlier_one(
    calls: int, small: Report, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    build(small, tmp_path / "site")
    before = contents(tmp_path)
    rename, left = os.rename, [calls]

    def fails_once(source: Path, target: Path) -> None:
        left[0] -= 1
        if left[0] == -1:
            raise OSError(13, "Permission denied")
        rename(source, target)

    monkeypatch.setattr(os, "rename", fails_once)
    with pytest.raises(UnusableInput, match="Permission denied; nothing was changed"):
        build(small, tmp_path / "site")
    assert contents(tmp_path) == before
    assert os.listdir(tmp_path) == ["site"]


def test_a_build_that_cannot_make_a_page_leaves_the_earlier_one(
    small: Report, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    build(small, tmp_path / "site")
    before = contents(tmp_path)
    monkeypatch.setattr(build_module, "export_files", after(0, build_module.export_files))
    with pytest.raises(OSError):
        build(small, tmp_path / "site")
    assert contents(tmp_path) == before


@pytest.mark.parametrize("fails", [False, True])
def test_a_build_that_was_killed_between_its_two_renames_is_mended_by_the_next(
    fails: bool, small: Report, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    build(small, tmp_path / "site")
    before = contents(tmp_path)
    os.rename(tmp_path / "site", tmp_path / ".site.before")
    if fails:  # the earlier site comes back all the same
        monkeypatch.setattr(Path, "write_bytes", after(0, Path.write_bytes))
        with pytest.raises(UnusableInput):
            build(small, tmp_path / "site")
    else:
        build(small, tmp_path / "site")
    assert contents(tmp_path) == before
    assert os.listdir(tmp_path) == ["site"]
