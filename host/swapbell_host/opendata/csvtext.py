"""Rows as CSV (RFC 4180): UTF-8, one line each, and no cell that a spreadsheet would take for a formula."""

import csv
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from io import StringIO

from swapbell_host.opendata.table import Cell, Row

# OWASP, "CSV Injection": a cell that begins with one of these may be run as a formula.
FORMULA_BEGINS = ("=", "+", "-", "@", "\t", "\r")
# The same page: a single quote before it makes it text.
QUOTE = "'"


def lines(rows: Iterable[Row]) -> bytes:
    """Return rows as lines of CSV."""
    text = StringIO()
    csv.writer(text).writerows([_cell(cell) for cell in row] for row in rows)
    return text.getvalue().encode()


def header(names: Sequence[str]) -> bytes:
    """Return the line of the columns' names."""
    return lines([tuple(names)])


def harmless(text: str) -> str:
    """Return a text as a cell that no spreadsheet runs; one that is harmless as it is stays so."""
    return f"{QUOTE}{text}" if text.startswith(FORMULA_BEGINS) else text


def utc(at: datetime) -> str:
    """Return a moment, aware, as RFC 3339 in UTC, always with its microseconds: one form for a whole column."""
    return f"{at.astimezone(UTC):%Y-%m-%dT%H:%M:%S.%fZ}"


def _cell(cell: Cell) -> str | int | float | None:
    if isinstance(cell, str):
        return harmless(cell)
    return utc(cell) if isinstance(cell, datetime) else cell
