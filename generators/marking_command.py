"""What the command ``mark`` prints."""

from argparse import Namespace
from pathlib import Path

from trayconcord.generators.marking_output import csv_marks, json_marks, text_marks
from trayconcord.generators.marking_pages import feedback_page, marking_sheet
from trayconcord.generators.plan import refuse_contradictions
from trayconcord.kb.case_file import CaseFile
from trayconcord.kb.errors import unusable
from trayconcord.kb.measured_file import MeasuredFile, Tray, read_measured
from trayconcord.kb.store import Store
from trayconcord.shapes.compare import Comparison
from trayconcord.shapes.marking import mark, sites_of


def marks_as(options: Namespace, store: Store, case: CaseFile) -> str:
    """The marks, or the sheet to mark by hand, in the format that was asked for. Raises `UnusableInput`."""
    refuse_contradictions(case, store.vocabulary, " ".join(options.case))
    if options.format == "sheet":
        if options.measured is not None:
            fix = "leave the file out, or ask for --format html"
            raise unusable(options.measured, "has nothing to do on a sheet to mark by hand", fix)
        return marking_sheet(store, Comparison(store), case.when, case.label)
    if options.measured is None:
        raise unusable("mark", "no file of measurements", "name one, or ask for --format sheet to mark by hand")
    measured = read_measured(options.measured, store.vocabulary, sites_of(case.when, store.vocabulary))
    marks = mark(store, Comparison(store), case.when, _chosen(measured, options.tray, options.measured))
    label = measured.label or case.label
    if options.format == "csv":
        return csv_marks(marks, store)
    return {"text": text_marks, "json": json_marks, "html": feedback_page}[options.format](marks, store, label)


def _chosen(measured: MeasuredFile, tray: str | None, path: Path) -> list[Tray]:
    """All trays of a file, or the one that was asked for."""
    chosen = [one for one in measured.trays if tray in (None, one.id)]
    if not chosen and tray is not None:
        known = ", ".join(one.id for one in measured.trays)
        raise unusable(path, f"holds no tray {tray}", f"use one of: {known}")
    return chosen
