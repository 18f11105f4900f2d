"""Tables that a spreadsheet opens: no text becomes a formula, numbers stay numbers, nothing is lost."""

import csv
import io
from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_host.sheets.cells import harmless, table


def read(content: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(content.decode("utf-8"), newline="")))


# OWASP, CSV Injection: what may begin a formula.
@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "  =1", "\n=1", "\uff1d1"])
def test_what_may_begin_a_formula_is_made_a_text(text: str) -> None:
    assert harmless(text) == f"'{text}"


@pytest.mark.parametrize("text", ["", "a=1", "85 g", "3-4", "none", "<b>"])
def test_other_texts_stay_as_they_are(text: str) -> None:
    assert harmless(text) == text


def test_numbers_stay_numbers_and_nothing_is_empty() -> None:
    row = (-1.5, 0, None, True, date(2026, 1, 2), datetime(2026, 1, 2, tzinfo=UTC))
    assert read(table(["a"] * 6, [row]))[1] == ["-1.5", "0", "", "yes", "2026-01-02", "2026-01-02T00:00:00+00:00"]


def test_lines_end_as_the_standard_says() -> None:
    assert table(["a", "b"], [("x", "y,\n")]) == b'a,b\r\nx,"y,\n"\r\n'  # RFC 4180, chapter 2


@given(st.lists(st.text(st.characters(exclude_categories=["Cs"]), max_size=50), min_size=1, max_size=4))
def test_every_text_comes_back_with_at_most_an_apostrophe_before_it(texts: list[str]) -> None:
    (_, row) = read(table(["c"] * len(texts), [texts]))
    assert all(back in (text, f"'{text}") for back, text in zip(row, texts, strict=True))
