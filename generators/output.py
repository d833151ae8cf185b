"""Writing what a command makes: a folder as a whole or a file as a whole, whenever the process dies.

Everything is first written in full under a name of its own beside its place and then renamed. A draft is locked while
its process lives; one that a dead process left is cleared away by the next writer of the same place.
"""

import contextlib
import errno
import os
import re
import shutil
import stat
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from trayconcord.kb.errors import unusable
from trayconcord.kb.identifiers import unfit_name

MARKER = ".built-by-trayconcord"
"""Marks a folder that a later build may replace; a folder without it is somebody's own."""

WAIT = 5.0
"""Seconds to wait for another command that is about to rename something in the same folder."""


def write_folder(pages: dict[str, bytes], out: Path) -> list[str]:
    """Put files in place as one folder, which only an earlier call may have made; returns their names, in order.

    Raises `UnusableInput`.
    """
    unfit = unfit_name(pages)
    if unfit is not None:
        raise unusable(out / unfit, "cannot be the name of a file on every system", "mend the id in the store")
    contents = {MARKER: b"This folder is replaced by the next build.\n"} | pages
    with _told(out, "choose another --out"):
        _put_in_place(contents, _real(out))
    return sorted(pages)


def recover(out: Path) -> None:
    """Put an earlier folder back that a writer had set aside when it died between its two renames."""
    with contextlib.suppress(OSError):  # what stands in the way is told by the writing
        out = _real(out)
        if out.name and _before(out).exists():
            with _alone(out.parent):
                _recover(out)


def write_file(data: bytes, path: Path) -> None:
    """Put data into a file, all or nothing; a device or a pipe is simply written to. Raises `UnusableInput`."""
    with _told(path, "choose another --out"):
        place = _real(path)
        if place.exists() and not place.is_file():
            place.write_bytes(data)
            return
    _replace({path: data})


def write_files(contents: dict[Path, bytes]) -> None:
    """Put data into several files, in folders that are made where they are missing: all of them are written in full
    beside their places before the first is put in its place, in the order given. Raises `UnusableInput`."""
    for path in contents:
        with _told(path, "choose another --out"):
            path.parent.mkdir(parents=True, exist_ok=True)
    _replace(contents)


def _replace(contents: dict[Path, bytes]) -> None:
    with contextlib.ExitStack() as drafts:
        ready: list[tuple[Path, Path]] = []
        for path, data in contents.items():
            with _told(path, "choose another --out"):
                place = _real(path)
                draft = drafts.enter_context(_draft(place, folder=False))
                with open(draft, "wb") as stream:
                    stream.write(data)
                    stream.flush()
                    os.fsync(stream.fileno())
                os.chmod(draft, stat.S_IMODE(place.stat().st_mode) if place.exists() else 0o666 & ~_umask())
                ready.append((draft, place))
        for draft, place in ready:
            with _told(place, "choose another --out"):
                os.replace(draft, place)


def write_new_folder(files: dict[str, bytes], folder: Path) -> None:
    """Write files as a folder that does not exist yet, or is empty. Raises `UnusableInput`."""
    with _told(folder, "choose another folder"):
        place = _real(folder)
        place.parent.mkdir(parents=True, exist_ok=True)
        with _draft(place) as draft:
            _fill(draft, files)
            os.rename(draft, place)


@contextlib.contextmanager
def _told(path: Path, fix: str) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise unusable(path, f"cannot be written: {error.strerror or error}; nothing was changed", fix) from None


def _real(path: Path) -> Path:
    """A symbolic link stays, and what it leads to is replaced. Raises OSError for a loop of links."""
    real = Path(os.path.realpath(path))
    if real.is_symlink():
        raise OSError(errno.ELOOP, os.strerror(errno.ELOOP))
    return real


def _before(out: Path) -> Path:
    return out.with_name(f".{out.name}.before")


def _put_in_place(contents: dict[str, bytes], out: Path) -> None:
    if not out.name:
        raise unusable(out, "is no folder of its own", "choose another --out")
    out.parent.mkdir(parents=True, exist_ok=True)
    with _alone(out.parent):
        _recover(out)
        _refuse_foreign(out)
    with _draft(out) as draft:
        _fill(draft, contents)
        with _alone(out.parent):
            _recover(out)
            _refuse_foreign(out)
            before = _before(out)
            if out.exists():
                shutil.rmtree(before, ignore_errors=True)
                os.rename(out, before)
            try:
                os.rename(draft, out)
            except OSError:
                if before.exists():
                    os.rename(before, out)
                raise
            with contextlib.suppress(OSError):  # half of it must not come back as the whole
                os.rename(before, draft)


def _recover(out: Path) -> None:
    before = _before(out)
    if (before / MARKER).exists() and not os.path.lexists(out):
        os.rename(before, out)


def _refuse_foreign(out: Path) -> None:
    if out.exists() and not out.is_dir():
        raise unusable(out, "is a file", "choose a folder for --out")
    if out.exists() and any(out.iterdir()) and not (out / MARKER).exists():
        raise unusable(out, "holds files that no build made", "choose an empty or new folder for --out")


def _fill(draft: Path, files: dict[str, bytes]) -> None:
    for name, data in files.items():
        path = draft / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    os.chmod(draft, 0o755)


@contextlib.contextmanager
def _draft(place: Path, folder: bool = True) -> Iterator[Path]:
    """A new folder or file beside a place, gone at the end unless it was renamed; dead ones are cleared away."""
    start = f".{place.name}.draft-"
    with _alone(place.parent):
        for left in place.parent.iterdir():
            if left.name.startswith(start) and re.fullmatch(r"\w{8}", left.name[len(start) :]):
                with contextlib.suppress(OSError), _locked(left, wait=0) as dead:
                    if dead:
                        _remove(left)
        if folder:
            draft = Path(tempfile.mkdtemp(prefix=start, dir=place.parent))
        else:
            handle, name = tempfile.mkstemp(prefix=start, dir=place.parent)
            os.close(handle)
            draft = Path(name)
        living = contextlib.ExitStack()
        living.enter_context(_locked(draft, wait=0))
    with living:
        try:
            yield draft
        finally:
            _remove(draft)


def _remove(path: Path) -> None:
    with contextlib.suppress(OSError):  # housekeeping, which the next writer finishes
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        else:
            path.unlink(missing_ok=True)


@contextlib.contextmanager
def _alone(folder: Path) -> Iterator[None]:
    with _locked(folder, WAIT) as alone:
        if not alone:
            raise unusable(folder, "is being written to by another command", "wait for it to end and try again")
        yield


@contextlib.contextmanager
def _locked(path: Path, wait: float) -> Iterator[bool]:
    """Whether no other process holds the lock on a file or folder; it goes with the process that holds it."""
    try:
        import fcntl
    except ImportError:  # no advisory locks on this system: then nothing is known to be dead either
        yield wait > 0
        return
    handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
    try:
        end = time.monotonic() + wait
        while True:
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                if time.monotonic() >= end:
                    yield False
                    return
                time.sleep(0.02)
            else:
                yield True
                return
    finally:
        with contextlib.suppress(OSError):
            os.close(handle)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
