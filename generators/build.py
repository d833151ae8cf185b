"""Building the output folder: every page is made first, then the folder is put in place as a whole."""

import os
from pathlib import Path

from trayconcord.generators.export_files import export_files
from trayconcord.generators.output import MARKER, recover, write_folder
from trayconcord.generators.pages import site_pages
from trayconcord.generators.paper import item_pages
from trayconcord.generators.withdrawn import NOTHING, read_previous
from trayconcord.kb.turtle import bulk
from trayconcord.shapes.check import Report

BANK = "items/items.json"
"""Where a build leaves its bank of items for the next one."""


def build(report: Report, out: Path, seed: int = 1, previous: Path | None = None) -> list[str]:
    """Write the site and the rule export of a checked store; returns the files written, by path.

    Items that an earlier bank held and this one does not are listed as withdrawn: ``previous`` names that bank, else
    it is the one that the folder holds.
    The folder is replaced whole, and only if an earlier build made it. Raises `UnusableInput`.
    """
    recover(out)  # or the withdrawn items of a build that was cut short would be forgotten
    known = previous or out / BANK
    ours = os.path.exists(out / MARKER) and os.path.exists(known)  # a name too long to be one is told later
    before = read_previous(known) if previous or ours else NOTHING
    with bulk():  # a tenth of the time went into looking for garbage that is not there
        pages = site_pages(report) | item_pages(report, seed, before)
        exported = export_files(report.store, report.comparison)
    pages |= {f"export/{name}": data for name, data in exported.items()}
    return write_folder(pages, out)
