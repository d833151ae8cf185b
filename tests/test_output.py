"""What a command writes is whole: at whatever step it dies, whatever operation fails, whoever else is writing."""

import contextlib
import itertools
import os
import shutil
import stat
import subprocess
import tempfile
from pathlib import Path

import pytest
from dying import KILLED, dying_at, watch
from small_store import FIRST, LATER, enter_into, files, triples

from trayconcord.generators.build import BANK, build
from trayconcord.generators.demo import lay_out
from trayconcord.generators.output import MARKER, recover, write_file, write_folder, write_new_folder
from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.store import Store
from trayconcord.kb.transaction import write_all
from trayconcord.shapes.check import check

resource = pytest.importorskip("resource", reason="processes are forked, limited and killed")

OLD = {"index.html": b"old page", "items/items.json": b"old bank"}
NEW = {"index.html": b"new page, longer", "items/items.json": b"new bank", "figures/one.svg": b"<svg/>"}


def pages(folder: Path) -> dict[str, bytes]:
    found = files(folder)
    assert found.pop(MARKER)
    return found


def siblings(path: Path) -> list[str]:
    return sorted(os.listdir(path.parent))


# --- dying in the middle ---


@pytest.mark.parametrize(
    "there", [pytest.param(False, marks=pytest.mark.slow), True], ids=["a new folder", "a folder that is replaced"]
)
def test_a_folder_killed_at_any_step_is_the_old_one_or_the_new(there: bool, tmp_path: Path) -> None:
    outcomes = []
    for last in itertools.count(1):
        out = tmp_path / f"run-{last}" / "site"
        out.parent.mkdir()
        if there:
            write_folder(OLD, out)
        status = dying_at(last, lambda out=out: write_folder(NEW, out))
        assert status in (0, KILLED), f"step {last}"
        recover(out)  # as the next build does before it reads the bank of this one
        outcomes.append(pages(out) if out.exists() else None)
        assert outcomes[-1] in (OLD if there else None, NEW), f"step {last}"
        write_folder(OLD, out)
        assert pages(out) == OLD
        assert siblings(out) == ["site"], f"step {last}"
        shutil.rmtree(out.parent)
        if status == 0:
            break
    assert outcomes.count(NEW) > 1 and outcomes[0] != NEW and outcomes[-1] == NEW
    assert outcomes == sorted(outcomes, key=lambda outcome: outcome == NEW)
    assert last > 20


@pytest.mark.parametrize("there", [False, True], ids=["a new file", "a file that is replaced"])
def test_a_file_killed_at_any_step_is_the_old_one_or_the_new(there: bool, tmp_path: Path) -> None:
    outcomes = []
    for last in itertools.count(1):
        path = tmp_path / f"run-{last}" / "items.json"
        path.parent.mkdir()
        if there:
            write_file(b"old bank", path)
        status = dying_at(last, lambda path=path: write_file(b"new bank", path))
        outcomes.append(path.read_bytes() if path.exists() else None)
        assert outcomes[-1] in (b"old bank" if there else None, b"new bank"), f"step {last}"
        write_file(b"last bank", path)
        assert path.read_bytes() == b"last bank"
        assert siblings(path) == ["items.json"], f"step {last}"
        if status == 0:
            break
    assert outcomes[0] != b"new bank" and outcomes[-1] == b"new bank"
    assert last > 8


def test_a_demo_killed_at_any_step_is_whole_or_not_there(tmp_path: Path) -> None:
    whole = files(lay_out(tmp_path / "whole")[0].parent)
    for last in itertools.count(1, 7):  # every seventh step: there are many files
        folder = tmp_path / f"run-{last}" / "demo"
        folder.parent.mkdir()
        status = dying_at(last, lambda folder=folder: lay_out(folder))
        if not folder.exists():
            lay_out(folder)
        assert files(folder) == whole
        assert siblings(folder) == ["demo"]
        if status == 0:
            break
    assert last > 20


def test_what_is_withdrawn_outlives_a_build_that_was_killed(demo_store: Store, tmp_path: Path) -> None:
    """The bank lies in the folder that a killed build had set aside; the next one reads it there."""
    report, out = check(demo_store), tmp_path / "site"
    build(report, out)
    bank = (out / BANK).read_text(encoding="utf-8")
    (out / BANK).write_text(bank.replace('"withdrawn": []', f'"withdrawn": [{GONE}]'), encoding="utf-8")
    os.rename(out, tmp_path / ".site.before")
    build(report, out)
    assert "asked long ago" in (out / BANK).read_text(encoding="utf-8")
    assert siblings(out) == ["site"]


GONE = """{"id": "gone", "question": "asked long ago", "answer": "a", "parameter": "stop-count", "when": {},
"reason": "r"}"""


# --- no room, no right ---


def in_a_child(action, before=lambda: None) -> str:
    """What an action says in a process of its own: nothing, or why it was refused."""
    reading, writing = os.pipe()
    pid = os.fork()
    if pid == 0:
        said = "fell over"
        try:
            before()
            action()
            said = ""
        except UnusableInput as error:
            said = str(error)
        finally:
            os.write(writing, said.encode())
            os._exit(0)
    os.close(writing)
    with os.fdopen(reading, "rb") as stream:
        said = stream.read().decode()
    os.waitpid(pid, 0)
    return said


def room(most: int):
    return lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))


@pytest.mark.parametrize("most", [0, 30])
def test_a_file_that_may_not_grow_is_refused_and_nothing_changed(most: int, tmp_path: Path, forms) -> None:
    """The system itself refuses to write on, as it does when a disk is full."""
    site, bank, store = tmp_path / "site", tmp_path / "items.json", tmp_path / "store"
    write_folder(OLD, site)
    write_file(b"old bank", bank)
    enter_into(store, forms(FIRST))
    before, later = files(tmp_path), forms(LATER)
    before |= {later.name: later.read_bytes()}
    for action in (
        lambda: write_folder({"index.html": b"x" * 1000}, site),
        lambda: write_file(b"x" * 1000, bank),
        lambda: lay_out(tmp_path / "demo"),
        lambda: enter_into(store, later),
    ):
        said = in_a_child(action, room(most))
        assert "cannot be written: File too large" in said
        assert "nothing was changed" in said
        assert files(tmp_path) == before
    assert sorted(os.listdir(tmp_path)) == sorted({"site", "items.json", "store", *before} & set(os.listdir(tmp_path)))


def test_a_full_disk_is_told_and_nothing_changed(tmp_path: Path) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(disk)]
    if shutil.which("mount") is None or subprocess.run(mount, capture_output=True).returncode:
        pytest.skip("may not mount a small disk")
    try:
        write_folder(OLD, disk / "site")
        write_all(disk / "store", {"sources/a.ttl": b"old"})
        for action in (
            lambda: write_folder({"index.html": b"x" * 100_000}, disk / "site"),
            lambda: write_file(b"x" * 100_000, disk / "items.json"),
            lambda: write_all(disk / "store", {"sources/a.ttl": b"new", "sources/b.ttl": b"x" * 100_000}),
        ):
            with pytest.raises(UnusableInput, match=r"No space left on device; nothing was changed"):
                action()
        assert pages(disk / "site") == OLD
        assert files(disk / "store") == {"sources/a.ttl": b"old"}
        assert sorted(os.listdir(disk)) == ["site", "store"]
    finally:
        subprocess.run(["umount", str(disk)], check=True)


def test_a_folder_that_may_not_be_written_is_told_and_left_alone() -> None:
    with contextlib.ExitStack() as stack:
        folder = Path(tempfile.mkdtemp())  # the test's own may be closed to others
        stack.callback(shutil.rmtree, folder)
        write_folder(OLD, folder / "site")
        write_all(folder / "store", {"sources/a.ttl": b"old"})
        write_file(b"old", folder / "items.json")
        for path in (folder, *folder.rglob("*")):
            os.chmod(path, 0o555 if path.is_dir() else 0o444)
        before = files(folder)

        def as_nobody() -> None:
            if os.getuid() == 0:  # whom no mode stops
                os.setgid(65534)
                os.setuid(65534)

        for action in (
            lambda: write_folder(NEW, folder / "site"),
            lambda: write_folder(NEW, folder / "other"),
            lambda: write_file(b"new", folder / "items.json"),
            lambda: write_all(folder / "store", {"sources/a.ttl": b"new"}),
            lambda: write_new_folder(NEW, folder / "demo"),
        ):
            said = in_a_child(action, as_nobody)
            assert "Permission denied; nothing was changed" in said
            assert files(folder) == before
        for path in (folder, *folder.rglob("*")):
            os.chmod(path, stat.S_IRWXU)


@pytest.mark.parametrize(
    "persistent", [pytest.param(False, marks=pytest.mark.slow), True], ids=["once", "from then on"]
)
def test_whatever_fails_leaves_the_old_folder_or_the_new_and_says_which(persistent: bool, tmp_path: Path) -> None:
    for failing in itertools.count(1):
        out = tmp_path / f"run-{failing}" / "site"
        out.parent.mkdir()
        write_folder(OLD, out)
        steps = itertools.count(1)

        def step(steps=steps, failing=failing) -> None:
            number = next(steps)
            if number == failing or (persistent and number > failing):
                raise OSError(28, "No space left on device")

        with pytest.MonkeyPatch.context() as patch:
            watch(patch, step)
            try:
                write_folder(NEW, out)
                refused = False
            except UnusableInput as error:
                refused = True
                assert "nothing was changed" in str(error)
        recover(out)
        assert pages(out) == (OLD if refused else NEW), f"step {failing}"
        write_folder(OLD, out)
        assert siblings(out) == ["site"]
        if next(steps) <= failing:
            break
    assert not refused and failing > 20


# --- two at once ---


def test_of_many_builds_at_once_one_is_there_whole_and_nothing_else(tmp_path: Path) -> None:
    out = tmp_path / "site"
    versions = [{"index.html": b"%d" % n, "items/items.json": b"%d" % n * 1000} for n in range(6)]

    def many(contents: dict[str, bytes]) -> None:
        for _ in range(8):
            write_folder(contents, out)

    assert at_once([lambda contents=contents: many(contents) for contents in versions]) == [""] * 6
    assert pages(out) in versions
    assert siblings(out) == ["site"]


def test_of_many_adds_at_once_each_is_kept_or_told_to_try_again(tmp_path: Path, forms) -> None:
    store = tmp_path / "store"
    entered = [forms(FIRST.replace("harrow-vale", f"work-{n}")) for n in range(6)]
    said = at_once([lambda form=form: enter_into(store, form) for form in entered])
    assert all(not words or "try again" in words for words in said), said
    assert "" in said
    expected = frozenset().union(
        *(triples(enter_into(tmp_path / form.stem, form) and tmp_path / form.stem)
          for form, words in zip(entered, said, strict=True) if not words)
    )  # fmt: skip
    assert triples(store) == expected


def at_once(actions) -> list[str]:
    """What several actions say that run at the same time, each in a process of its own."""
    start, go = os.pipe()
    children = []
    for action in actions:
        reading, writing = os.pipe()
        pid = os.fork()
        if pid == 0:
            said = "fell over"
            try:
                os.close(go)
                os.read(start, 1)  # all begin when the parent closes its end
                action()
                said = ""
            except UnusableInput as error:
                said = str(error)
            except BaseException as error:
                said = repr(error)
            finally:
                os.write(writing, said.encode())
                os._exit(0)
        os.close(writing)
        children.append((pid, reading))
    os.close(go)
    os.close(start)
    said = []
    for pid, reading in children:
        with os.fdopen(reading, "rb") as stream:
            said.append(stream.read().decode())
        os.waitpid(pid, 0)
    return said


# --- where it is written ---


def test_a_device_or_a_pipe_is_written_to_as_it_is(tmp_path: Path) -> None:
    write_file(b"x", Path(os.devnull))
    assert not Path(os.devnull).is_file()
    with pytest.raises(UnusableInput, match="No space left on device"):
        write_file(b"x", Path("/dev/full"))


def test_a_file_reached_by_a_link_is_replaced_where_it_lies_with_its_mode(tmp_path: Path) -> None:
    (tmp_path / "real.json").write_bytes(b"old")
    os.chmod(tmp_path / "real.json", 0o640)
    (tmp_path / "link.json").symlink_to("real.json")
    write_file(b"new", tmp_path / "link.json")
    assert (tmp_path / "link.json").is_symlink()
    assert (tmp_path / "real.json").read_bytes() == b"new"
    assert stat.S_IMODE((tmp_path / "real.json").stat().st_mode) == 0o640


def test_a_loop_of_links_is_no_place_to_write(tmp_path: Path, forms) -> None:
    (tmp_path / "a").symlink_to("b")
    (tmp_path / "b").symlink_to("a")
    form = forms(FIRST)
    for action in (
        lambda: write_folder(NEW, tmp_path / "a"),
        lambda: write_file(b"x", tmp_path / "a"),
        lambda: lay_out(tmp_path / "a"),
        lambda: enter_into(tmp_path / "a", form),
    ):
        with pytest.raises(UnusableInput):
            action()
    assert (tmp_path / "a").is_symlink() and (tmp_path / "b").is_symlink()


@pytest.mark.parametrize(
    "name",
    ["../x", "/x", "a/../../x", "aux.html", "a/CON", "x.", "x ", "a\\b", "a:b", "a//b", "", "\u202ex", "x" * 201],
)
def test_a_name_that_leaves_the_folder_or_fits_no_system_is_refused(name: str, tmp_path: Path) -> None:
    with pytest.raises(UnusableInput, match="cannot be the name of a file"):
        write_folder({"index.html": b"", name: b""}, tmp_path / "site")
    with pytest.raises(UnusableInput, match="cannot be the name of a file"):
        write_all(tmp_path / "store", {name: b""})
    assert os.listdir(tmp_path) == []


def test_names_that_differ_in_case_only_are_refused(tmp_path: Path) -> None:
    with pytest.raises(UnusableInput, match="cannot be the name of a file"):
        write_folder({"a.html": b"", "A.html": b""}, tmp_path / "site")
    (tmp_path / "sources").mkdir()
    (tmp_path / "sources" / "Smith.ttl").write_bytes(b"")
    with pytest.raises(UnusableInput, match=r"Smith.ttl: differs from smith.ttl in case only"):
        write_all(tmp_path, {"sources/smith.ttl": b""})
