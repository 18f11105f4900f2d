"""Tables for programs: CSV by RFC 4180, in which no text can become a formula.

A spreadsheet takes a cell that begins with one of a few signs for a formula, and a formula can send away what it
reads (OWASP, CSV Injection). Such a text gets an apostrophe before it, as that page asks. Numbers are written by us,
not by a stranger: -1.5 stays a number.
"""

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import date, datetime

# OWASP, CSV Injection: what may begin a formula.
_BEGINNINGS = ("=", "+", "-", "@", "\t", "\r")
# Some spreadsheets read wide letters, and what follows a blank or a line break, in the same way: our choice.
_WIDE = (
    "\N{FULLWIDTH EQUALS SIGN}",
    "\N{FULLWIDTH PLUS SIGN}",
    "\N{FULLWIDTH HYPHEN-MINUS}",
    "\N{FULLWIDTH COMMERCIAL AT}",
)
Cell = str | float | int | bool | date | None


def table(head: Sequence[str], rows: Iterable[Sequence[Cell]]) -> bytes:
    """Return a table as CSV in UTF-8; nothing is an empty cell, a moment is ISO 8601."""
    held = io.StringIO(newline="")
    writer = csv.writer(held, lineterminator="\r\n")
    writer.writerow(head)
    writer.writerows([_cell(cell) for cell in row] for row in rows)
    return held.getvalue().encode("utf-8", "replace")


def harmless(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula."""
    return f"'{text}" if text.lstrip(" \n").startswith((*_BEGINNINGS, *_WIDE)) else text


def _cell(cell: Cell) -> str | float | int:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, datetime):
        return cell.isoformat()
    if isinstance(cell, date):
        return cell.isoformat()
    return harmless(cell) if isinstance(cell, str) else cell
