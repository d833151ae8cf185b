"""Files that others may have made: only regular ones are read, and links are not followed in writing."""

import errno
import os
import re
import stat
from pathlib import Path


def read_regular(path: Path) -> bytes:
    """The bytes of a file. A pipe or a device, which may never end, is refused. Raises OSError."""
    if not stat.S_ISREG(os.stat(path).st_mode):
        raise OSError(errno.EINVAL, "not a regular file", str(path))
    with open(path, "rb", buffering=0) as stream:
        return stream.read()


_OPENED = re.compile(r"/dev/(stdin|fd/\d+)|/proc/self/fd/\d+")
"""What a shell has opened for this process: its standard input, or a process substitution ``<(…)``."""


def read_given(path: Path, most: int = -1) -> bytes:
    """The bytes of a file that a person names, no more than ``most`` of them.

    A pipe that the shell opened for this process has somebody who writes to it, and is read to its end. One that lies
    in a folder may have nobody, and a device may never end: they are refused. Raises OSError.
    """
    if not _OPENED.fullmatch(str(path)):
        mode = os.stat(path).st_mode
        if stat.S_ISDIR(mode):
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
        if not stat.S_ISREG(mode):
            raise OSError(errno.EINVAL, "not a regular file", str(path))
    with open(path, "rb") as stream:
        return stream.read(most)


def own_file(name: str, flags: int) -> int:
    """An opener for `open` that follows no link and waits for no other end of a pipe."""
    flags |= getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
    return os.open(name, flags, 0o666)
