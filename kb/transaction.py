"""Writing several files of a store as one: all of them or none, whenever the process dies.

The files are first written in full to a folder beside the store's own. One rename of that folder is the moment at
which they count: readers take a file from it in preference to the file in place (`pending`). Moving the files home is
then housekeeping, which the next writer finishes if it was cut short.
"""

import contextlib
import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

from trayconcord.kb.errors import unusable
from trayconcord.kb.files import own_file, read_regular
from trayconcord.kb.identifiers import unfit_name

_COMMITTED = ".committed"
_DRAFT = ".draft-"
_LOCK = ".lock"


def pending(layer: Path) -> dict[str, Path]:
    """Files that count already but have not been moved home, by their path within the store."""
    committed = layer / _COMMITTED
    try:
        found = sorted(committed.glob("*/*"))
    except FileNotFoundError:  # another command is clearing it away, since all of it has been moved home
        return {}
    return {
        path.relative_to(committed).as_posix(): path
        for path in found
        if path.is_file() and not any(part.is_symlink() for part in (committed, path.parent, path))
    }


def standing(layer: Path, folder: str) -> dict[str, bytes]:
    """The files of one folder of a store as they count now, by their path within the store."""
    homes = {f"{folder}/{path.name}": path for path in (layer / folder).glob("*.ttl")}
    found = {}
    for name, path in (homes | pending(layer)).items():
        if name.startswith(f"{folder}/"):
            with contextlib.suppress(OSError):
                found[name] = read_regular(path)
    return found


def write_all(layer: Path, contents: dict[str, bytes], made_from: dict[str, bytes | None] | None = None) -> None:
    """Put files (path within the store -> bytes) into a store, all or none. Raises `UnusableInput`.

    ``made_from`` holds what files were when their new contents were made (None: not there); where another command
    has changed one meanwhile, nothing is written.
    """
    counted = False
    _refuse_unfit(layer, contents)
    try:
        layer.mkdir(parents=True, exist_ok=True)
        with _locked(layer):
            _finish(layer)
            for name, data in (made_from or {}).items():
                if (read_regular(layer / name) if (layer / name).exists() else None) != data:
                    raise unusable(layer / name, "was changed by another command meanwhile", "try again")
            for left in layer.glob(_DRAFT + "*"):
                shutil.rmtree(left)
            draft = Path(tempfile.mkdtemp(prefix=_DRAFT, dir=layer))
            try:
                for name, data in contents.items():
                    (layer / name).parent.mkdir(exist_ok=True)  # where it will go must be a folder
                    _write(draft / name, data)
                _sync_folder(draft)
                os.rename(draft, layer / _COMMITTED)
                counted = True
            except BaseException:
                shutil.rmtree(draft, ignore_errors=True)
                raise
            _sync_folder(layer)
            _finish(layer)
    except OSError as error:
        if counted:  # what is left is housekeeping for the next writer
            return
        reason = error.strerror or str(error)
        raise unusable(
            layer, f"cannot be written: {reason}; nothing was changed", "check the folder and try again"
        ) from None


def _refuse_unfit(layer: Path, contents: dict[str, bytes]) -> None:
    """Nothing is written outside the store, nor what a copy of the store could not hold on another system."""
    unfit = unfit_name(sorted(contents))
    if unfit is not None:
        raise unusable(layer / unfit, "cannot be the name of a file on every system", "choose a plain name")
    for name in sorted(contents):
        home = layer / name
        if home.parent.is_symlink():
            raise unusable(home.parent, "is a symbolic link", "put a folder of the store's own in its place")
        beside = os.listdir(home.parent) if home.parent.is_dir() else []
        for other in sorted(beside):
            if other != home.name and other.casefold() == home.name.casefold():
                raise unusable(home.parent / other, f"differs from {home.name} in case only", "rename one of the two")


def _write(path: Path, data: bytes) -> None:
    path.parent.mkdir(exist_ok=True)
    with open(path, "wb") as stream:
        stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())
    _sync_folder(path.parent)


def _finish(layer: Path) -> None:
    """Move committed files home."""
    for name, path in pending(layer).items():
        home = layer / name
        home.parent.mkdir(exist_ok=True)
        os.replace(path, home)
        _sync_folder(home.parent)
    if (layer / _COMMITTED).exists():
        shutil.rmtree(layer / _COMMITTED)


def _sync_folder(folder: Path) -> None:
    with contextlib.suppress(OSError):  # not every file system lets a folder be synced
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


@contextlib.contextmanager
def _locked(layer: Path) -> Iterator[None]:
    """One writer at a time; the lock goes with the process that holds it."""
    try:
        import fcntl
    except ImportError:  # no advisory locks on this system
        yield
        return
    with open(layer / _LOCK, "ab", opener=own_file) as stream:
        try:
            fcntl.flock(stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise unusable(layer, "is being written by another command", "wait for it to end and try again") from None
        yield
