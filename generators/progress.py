"""A line that tells a person at a terminal what takes so long."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Event, Thread
from typing import TextIO

PATIENCE = 1.0
"""Seconds before anything is told, and between one telling and the next."""


@contextmanager
def progress(work: str, stream: TextIO | None = None) -> Iterator[None]:
    """While the body runs longer than a second, tell so on a line of standard error, which is wiped at the end.
    Nothing is told where standard error is no terminal."""
    terminal = stream or sys.stderr
    if not terminal.isatty():
        yield
        return
    done = Event()

    def tell() -> None:
        seconds = 0.0
        while not done.wait(PATIENCE):
            seconds += PATIENCE
            print(f"\r{work} … {seconds:.0f} s", end="", file=terminal, flush=True)
        if seconds:
            print("\r\x1b[K", end="", file=terminal, flush=True)  # back to the start of the line, and wipe it

    teller = Thread(target=tell, daemon=True)
    teller.start()
    try:
        yield
    finally:
        done.set()
        teller.join()
