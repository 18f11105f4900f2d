"""Rows as lines of CSV."""

import csv
from datetime import datetime, timedelta, timezone
from io import StringIO

from hypothesis import given
from hypothesis import strategies as st

from swapbell_host.opendata.csvtext import FORMULA_BEGINS, QUOTE, harmless, header, lines, utc
from swapbell_host.opendata.table import Row


def read(*rows: Row) -> list[list[str]]:
    return list(csv.reader(StringIO(lines(rows).decode(), newline="")))


def test_a_cell_that_a_spreadsheet_would_run_is_made_text() -> None:
    texts = ("=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1")
    assert read(texts) == [[f"'{text}" for text in texts]]


def test_a_negative_number_stays_a_number() -> None:
    assert read((-42.8821, -3)) == [["-42.8821", "-3"]]


def test_what_nobody_knows_is_empty_and_zero_is_not() -> None:
    assert read((None, 0, 0.0)) == [["", "0", "0.0"]]


def test_a_moment_is_utc_with_its_microseconds_whatever_its_offset() -> None:
    at = datetime(2026, 3, 14, 13, 0, tzinfo=timezone(timedelta(hours=13)))
    assert utc(at) == "2026-03-14T00:00:00.000000Z"


def test_names_stand_in_one_line() -> None:
    assert header(("site", "station")) == b"site,station\r\n"


@given(st.lists(st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"))))
def test_no_cell_begins_as_a_formula_and_every_text_can_be_had_back(texts: list[str]) -> None:
    cells = [cell for row in read(*[(text, "end") for text in texts]) for cell in row[:-1]]
    assert not any(cell.startswith(FORMULA_BEGINS) for cell in cells)
    assert cells == [harmless(text) for text in texts]
    assert [
        cell.removeprefix(QUOTE) if harmless(text) != text else cell for cell, text in zip(cells, texts, strict=True)
    ] == texts
