"""Tables as CSV (RFC 4180) that no spreadsheet takes for formulas."""

import csv
import io
import re
from collections.abc import Iterable, Sequence


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A table with a line of headings."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(columns)
    writer.writerows([plain_cell(str(cell)) for cell in row] for row in rows)
    return stream.getvalue()


def plain_cell(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula; a negative number is none."""
    if re.fullmatch(r"-\d+(\.\d+)?", cell):
        return cell
    return f"'{cell}" if cell.startswith(("=", "+", "-", "@", "\t", "\r")) else cell
