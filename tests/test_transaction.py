"""Writing to a store is all or nothing: at whatever step the process dies, whatever operation fails.

All sources in these forms are invented.
"""

import itertools
import os
import shutil
from pathlib import Path

import pytest
from dying import KILLED, dying_at, watch
from small_store import CHANGED, FIRST, LATER, RULED, debris, enter_into, files, triples

from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.store import load
from trayconcord.kb.transaction import pending, write_all

pytest.importorskip("fcntl", reason="processes are forked, killed and locked out")

# --- dying in the middle ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("scenario", ["a new store", "a new source", "a replaced source with a ruling and a case"])
def test_a_writer_killed_at_any_step_leaves_the_old_store_or_the_new(tmp_path, forms, scenario):
    start = tmp_path / "start"
    if scenario == "a new store":
        entered = [forms(FIRST)]
    else:
        enter_into(start, forms(FIRST))
        entered = [forms(LATER)] if scenario == "a new source" else [forms(CHANGED), forms(RULED)]
    later = forms(LATER.replace("later-notes", "much-later-notes"))

    def fresh(name):
        if start.exists():
            shutil.copytree(start, tmp_path / name)
        return tmp_path / name

    old = triples(start)
    enter_into(fresh("new"), *entered)
    new = triples(tmp_path / "new")
    assert old < new if scenario != "a replaced source with a ruling and a case" else not old <= new
    added = triples(enter_into(tmp_path / "later", later) and tmp_path / "later") - triples(tmp_path / "nowhere")

    seen = []
    for last in itertools.count(1):
        target = fresh(f"killed-{last}")
        status = dying_at(last, lambda target=target: enter_into(target, *entered))
        assert status in (0, KILLED), f"step {last}"
        found = triples(target)
        assert found in (old, new), f"step {last}"
        seen.append(found == new)
        # The next writer finds its way, loses nothing that counted, and cleans up.
        enter_into(target, later)
        assert triples(target) == found | added, f"step {last}"
        assert debris(target) == [], f"step {last}"
        shutil.rmtree(target)
        if status == 0:
            break
    # Dying late enough is too late to undo anything, and early enough too early to have done anything.
    assert seen == sorted(seen)
    assert not seen[0] and seen[-1]
    assert last > 20
    assert sum(seen) > 5


def test_the_killing_is_real(tmp_path):
    """The harness itself: half a file is what a process leaves that dies in the middle of writing it."""
    path = tmp_path / "half"

    def action():
        with open(path, "wb") as stream:
            stream.write(b"12345678")

    assert [dying_at(last, action) for last in (1, 2, 3, 4, 5)] == [KILLED] * 4 + [0]
    path.unlink()
    dying_at(1, action)
    assert not path.exists()
    dying_at(3, action)
    assert path.read_bytes() == b"1234"
    dying_at(5, action)
    assert path.read_bytes() == b"12345678"


# --- operations that fail --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("persistent", [False, True], ids=["once", "from then on"])
def test_an_operation_that_fails_leaves_the_old_store_or_the_new_and_says_which(tmp_path, forms, persistent):
    """A full disk, a lost share: the message "nothing was changed" must be true, and so must its absence."""
    start = tmp_path / "start"
    enter_into(start, forms(FIRST))
    entered, later = [forms(CHANGED), forms(RULED)], forms(LATER)
    old = triples(start)
    shutil.copytree(start, tmp_path / "new")
    enter_into(tmp_path / "new", *entered)
    new = triples(tmp_path / "new")
    outcomes = []
    for failing in itertools.count(1):
        target = tmp_path / f"failing-{failing}"
        shutil.copytree(start, target)
        steps = itertools.count(1)

        def step(steps=steps, failing=failing):
            number = next(steps)
            if number == failing or (persistent and number > failing):
                raise OSError(28, "No space left on device")

        with pytest.MonkeyPatch.context() as patch:
            watch(patch, step)
            try:
                enter_into(target, *entered)
                outcome = "entered"
            except UnusableInput as error:
                outcome = "refused"
                assert "nothing was changed" in str(error)
                assert "No space left on device" in str(error)
        outcomes.append(outcome)
        assert triples(target) == (new if outcome == "entered" else old), f"step {failing}"
        enter_into(target, later)
        assert debris(target) == []
        if next(steps) <= failing:
            break
    assert outcomes.count("refused") > 20
    assert outcomes[-1] == "entered"


def test_a_place_that_cannot_be_written_is_refused_and_left_alone(tmp_path, forms):
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    store = tmp_path / "store"
    enter_into(store, forms(FIRST))
    (store / "rulings").write_text("in the way", encoding="utf-8")
    form, ruling = forms(LATER), forms(RULED)
    before = files(tmp_path)
    for target, entered in [
        (tmp_path / "file", form),  # a file where the store should be
        (tmp_path / "file" / "store", form),  # a file where a folder above it should be
        (store, ruling),  # a file where a folder of the store should be
    ]:
        with pytest.raises(UnusableInput) as error:
            enter_into(target, entered)
        (complaint,) = error.value.complaints
        assert complaint.place.file == str(target)
        assert complaint.fix
        assert files(tmp_path) == before


@pytest.mark.skipif(not Path("/proc/self").is_dir(), reason="needs a file system that nobody can write to")
def test_a_file_system_that_cannot_be_written_is_refused(forms):
    with pytest.raises(UnusableInput, match="nothing was changed"):
        enter_into(Path("/proc/trayconcord-kb"), forms(FIRST))


# --- two writers -----------------------------------------------------------------------------------------------------


def test_while_one_writes_another_is_told_to_try_again(tmp_path, forms):
    target = tmp_path / "store"
    enter_into(target, forms(FIRST))
    changed, later = forms(CHANGED), forms(LATER)
    old = triples(target)
    reached, go_on = os.pipe(), os.pipe()
    pid = os.fork()
    if pid == 0:
        status = 1
        try:
            plain = os.rename

            def rename(*args):
                os.write(reached[1], b"x")
                os.read(go_on[0], 1)
                plain(*args)

            with pytest.MonkeyPatch.context() as patch:
                patch.setattr(os, "rename", rename)
                enter_into(target, changed)
            status = 0
        finally:
            os._exit(status)
    try:
        os.read(reached[0], 1)  # the other process is in the middle of writing, and holds the lock
        with pytest.raises(UnusableInput) as error:
            enter_into(target, later)
        (complaint,) = error.value.complaints
        assert complaint.place.file == str(target)
        assert "another command" in complaint.message
        assert "try again" in complaint.fix
        assert triples(target) == old
    finally:
        os.write(go_on[1], b"x")
        assert os.waitpid(pid, 0)[1] == 0
        for end in (*reached, *go_on):
            os.close(end)
    assert load([target], only=True).sources["harrow-vale"].title == "Bench handout, corrected"
    enter_into(target, later)  # the lock went with the process that held it
    assert set(load([target], only=True).sources) == {"harrow-vale", "later-notes"}


def test_a_ruling_made_meanwhile_by_another_is_not_lost(tmp_path, forms, monkeypatch):
    """The file of a parameter holds all rulings on it: it must not be written from what it held before."""
    target = tmp_path / "store"
    enter_into(target, forms(FIRST))
    ours = forms(RULED)
    theirs = forms(RULED.replace("value: 2 mm", "when: {impression-material: polyether}, value: 3 mm"))

    def late(*arguments):
        monkeypatch.setattr("trayconcord.generators.entry.write_all", write_all)
        enter_into(target, theirs)  # after we read the store, before we write
        write_all(*arguments)

    monkeypatch.setattr("trayconcord.generators.entry.write_all", late)
    with pytest.raises(UnusableInput) as error:
        enter_into(target, ours)
    (complaint,) = error.value.complaints
    assert complaint.place.file == str(target / "rulings/spacer-thickness.ttl")
    assert "another command" in complaint.message
    assert "try again" in complaint.fix
    assert [ruling.printed for ruling in load([target], only=True).rulings] == ["3 mm"]
    enter_into(target, ours)
    assert sorted(ruling.printed for ruling in load([target], only=True).rulings) == ["2 mm", "3 mm"]


# --- what is written -------------------------------------------------------------------------------------------------


def test_files_that_count_already_are_read_before_those_in_place(tmp_path, forms):
    """As a process leaves them that dies after its commit: old in place, new waiting."""
    target, other = tmp_path / "store", tmp_path / "other"
    enter_into(target, forms(FIRST))
    enter_into(other, forms(CHANGED), forms(LATER))
    shutil.move(other / "sources", target / ".committed" / "sources")
    assert set(pending(target)) == {"sources/harrow-vale.ttl", "sources/later-notes.ttl"}
    store = load([target], only=True)
    assert store.sources["harrow-vale"].title == "Bench handout, corrected"
    assert set(store.sources) == {"harrow-vale", "later-notes"}
    # They are named by the place where they belong.
    assert store.place_of_claim("later-notes/spacer-thickness").file == str(target / "sources/later-notes.ttl")
    write_all(target, {})
    assert debris(target) == [] and pending(target) == {}
    assert set(files(target)) == {"sources/harrow-vale.ttl", "sources/later-notes.ttl"}


def test_a_draft_that_was_left_does_not_count(tmp_path, forms):
    target = tmp_path / "store"
    enter_into(target, forms(FIRST))
    shutil.copytree(target / "sources", target / ".draft-left" / "sources")
    (target / ".draft-left" / "sources" / "harrow-vale.ttl").write_text("half a fi", encoding="utf-8")
    assert load([target], only=True).sources["harrow-vale"].title == "Bench handout"


def test_what_another_command_clears_away_meanwhile_waits_no_more(tmp_path, monkeypatch):
    """A folder is looked at, and then looked into: by then it may be gone."""
    (tmp_path / ".committed" / "sources").mkdir(parents=True)
    plain = os.scandir

    def scandir(path):
        if path == tmp_path / ".committed" and path.exists():
            monkeypatch.setattr(os, "scandir", plain)
            shutil.rmtree(path)
        return plain(path)

    monkeypatch.setattr(os, "scandir", scandir)
    assert pending(tmp_path) == {}
    assert not (tmp_path / ".committed").exists()
