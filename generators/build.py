"""Building the output folder: every page is made first, then the folder is put in place as a whole."""

import os
import shutil
import tempfile
from pathlib import Path

from trayconcord.generators.export_files import export_files
from trayconcord.generators.pages import site_pages
from trayconcord.generators.paper import item_pages
from trayconcord.generators.withdrawn import NOTHING, read_previous
from trayconcord.kb.errors import unusable
from trayconcord.shapes.check import Report

MARKER = ".built-by-trayconcord"
"""Marks a folder that a later build may replace; a folder without it is somebody's own."""


BANK = "items/items.json"
"""Where a build leaves its bank of items for the next one."""


def build(report: Report, out: Path, seed: int = 1, previous: Path | None = None) -> list[str]:
    """Write the site and the rule export of a checked store; returns the files written, by path.

    Items that an earlier bank held and this one does not are listed as withdrawn: ``previous`` names that bank, else
    it is the one that the folder holds.
    The folder is replaced whole, and only if an earlier build made it. Raises `UnusableInput`.
    """
    known = previous or out / BANK
    ours = os.path.exists(out / MARKER) and os.path.exists(known)  # a name too long to be one is told later
    before = read_previous(known) if previous or ours else NOTHING
    pages = site_pages(report) | item_pages(report, seed, before)
    exported = export_files(report.store, report.comparison)
    pages |= {f"export/{name}": data for name, data in exported.items()}
    return write_folder(pages, out)


def write_folder(pages: dict[str, bytes], out: Path) -> list[str]:
    """Put files in place as one folder, which only an earlier call may have made; returns their names, in order.

    Raises `UnusableInput`.
    """
    contents = pages | {MARKER: b"This folder is replaced by the next build.\n"}
    try:
        _put_in_place(contents, out)
    except OSError as error:
        raise unusable(
            out, f"cannot be written: {error.strerror or error}; nothing was changed", "choose another --out"
        ) from None
    return sorted(pages)


def _put_in_place(contents: dict[str, bytes], out: Path) -> None:
    out = out.resolve()  # a symbolic link stays, and what it leads to is replaced
    if not out.name:
        raise unusable(out, "is no folder of its own", "choose another --out")
    before = out.with_name(f".{out.name}.before")
    if before.exists() and not out.exists():  # an earlier build was cut short between its two renames
        os.rename(before, out)
    if out.exists() and not out.is_dir():
        raise unusable(out, "is a file", "choose a folder for --out")
    if out.exists() and any(out.iterdir()) and not (out / MARKER).exists():
        raise unusable(out, "holds files that no build made", "choose an empty or new folder for --out")
    out.parent.mkdir(parents=True, exist_ok=True)
    draft = Path(tempfile.mkdtemp(prefix=f".{out.name}.", dir=out.parent))
    try:
        for name, data in contents.items():
            path = draft / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
        os.chmod(draft, 0o755)
        if out.exists():
            shutil.rmtree(before, ignore_errors=True)
            os.rename(out, before)
        try:
            os.rename(draft, out)
        except OSError:
            if before.exists():
                os.rename(before, out)
            raise
    finally:
        shutil.rmtree(draft, ignore_errors=True)
    shutil.rmtree(before, ignore_errors=True)
