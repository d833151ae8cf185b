"""Files of a store, which others may have made: only regular ones are read, and links are not followed in writing."""

import errno
import os
import stat
from pathlib import Path


def read_regular(path: Path) -> bytes:
    """The bytes of a file. A pipe or a device, which may never end, is refused. Raises OSError."""
    if not stat.S_ISREG(os.stat(path).st_mode):
        raise OSError(errno.EINVAL, "not a regular file", str(path))
    return path.read_bytes()


def own_file(name: str, flags: int) -> int:
    """An opener for `open` that follows no link and waits for no other end of a pipe."""
    flags |= getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
    return os.open(name, flags, 0o666)
