"""Processes that die, or operations that fail, at any chosen step of what they do to files or ask of a service."""

import builtins
import io
import itertools
import os
from contextlib import suppress

import pytest

from trayconcord.kb.sparql_service import Service

with suppress(ImportError):
    import fcntl

KILLED = 9


COUNTED = ("mkdir", "rename", "replace", "unlink", "remove", "rmdir", "chmod", "fsync", "open", "close")


class _Stream:
    """A file open for writing, whose every move is a step; a write is two, with half the bytes on disk between."""

    def __init__(self, stream, step):
        self.stream, self.step = stream, step

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.step()
        self.stream.close()

    def fileno(self):
        return self.stream.fileno()

    def write(self, data):
        self.step()
        self.stream.write(data[: len(data) // 2])
        self.stream.flush()
        self.step()
        self.stream.write(data[len(data) // 2 :])

    def flush(self):
        self.step()
        self.stream.flush()


def watch(patch, step):
    """Have ``step`` called before every operation that touches the file system."""

    def counted(function):
        def call(*args, **kwargs):
            try:
                step()
            except OSError:
                if function is plain_close:  # a system closes a file also where that fails
                    plain_close(*args)
                raise
            return function(*args, **kwargs)

        return call

    plain_close = os.close
    for name in COUNTED:
        patch.setattr(os, name, counted(getattr(os, name)))
    plain_open, plain_flock = builtins.open, fcntl.flock

    def open_counted(file, mode="r", *args, **kwargs):
        if not set(mode) & set("wxa+"):
            return plain_open(file, mode, *args, **kwargs)
        step()
        return _Stream(plain_open(file, mode, *args, **kwargs), step)

    patch.setattr(builtins, "open", open_counted)
    patch.setattr(io, "open", open_counted)  # as pathlib calls it

    def flock(stream, how):
        step()
        plain_flock(stream if isinstance(stream, int) else stream.fileno(), how)

    patch.setattr(fcntl, "flock", flock)


def watch_requests(patch, step):
    """Have ``step`` called before every request to a service."""
    plain = Service._send

    def send(service, *arguments):
        step()
        return plain(service, *arguments)

    patch.setattr(Service, "_send", send)


def dying_at(last, action, watched=watch):
    """Run an action in a process of its own that is killed before its ``last``-th step; its exit status."""
    pid = os.fork()
    if pid == 0:
        status = 1
        try:
            steps = itertools.count(1)

            def step():
                if next(steps) == last:
                    os._exit(KILLED)

            with pytest.MonkeyPatch.context() as patch:
                watched(patch, step)
                action()
            status = 0
        finally:
            os._exit(status)
    return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
