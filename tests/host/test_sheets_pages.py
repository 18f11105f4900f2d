"""Whatever a person wrote, its page is made, holds all that its letters can show, and says what they cannot."""

import io

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from paperwork import text
from pypdf import PdfReader
from reportlab.lib.units import mm

from swapbell_host.sheets.form import Paper
from swapbell_host.sheets.lettering import MARK, MARKED, drawn
from swapbell_host.sheets.page import Leaf

LONG = "wasp " * 2000
STRANGE = {
    "markup": "<b>x</b> & <script>alert(1)</script> </para><br/> &amp; &#0;",
    "leftward": "\u05e9\u05dc\u05d5\u05dd \u0645\u0631\u062d\u0628\u0627 \u202egnp.exe",
    "pictures": "\N{HONEYBEE}\N{GRINNING FACE} family \U0001f469\u200d\U0001f467",
    "controls": "".join(map(chr, range(32))) + "\x7f\ud800",
    "one word": "x" * 10_000,
    "many words": LONG,
    "many lines": "a\n" * 500,
    "other scripts": "\u6f22\u5b57 \u0928\u092e\u0938\u094d\u0924\u0947",
}


def made(words: str, paper: Paper = Paper.A4) -> bytes:
    leaf = Leaf("Title", words, paper, "foot")
    leaf.boxed("Look out", [words])
    leaf.items([words])
    leaf.table(("one", "two"), [(words, words), ("a", "b")], (30 * mm, 0.0))
    return leaf.pdf()


@pytest.mark.parametrize("words", STRANGE.values(), ids=STRANGE)
def test_any_text_makes_a_page(words: str) -> None:
    assert "Title" in text(made(words))


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.text(st.characters(), max_size=300))
def test_no_text_breaks_a_page(words: str) -> None:
    assert len(PdfReader(io.BytesIO(made(words))).pages) >= 1


def test_markup_is_shown_and_never_obeyed() -> None:
    assert "<b>x</b> & <script>alert(1)</script>" in text(made(STRANGE["markup"]))


def test_a_long_text_is_shown_whole() -> None:
    assert text(made(LONG)).count("wasp") >= 5 * 2000


def test_a_word_wider_than_the_page_is_shown_whole() -> None:
    assert text(made("x" * 1000)).count("x") >= 5 * 1000


@pytest.mark.parametrize(
    "letters", ["Grüße, naïve façade", "Ελληνικά", "Кирилица", "Łódź, Ōtautahi", "85 µL ≥ 0.1 %"]
)
def test_what_the_font_holds_is_shown(letters: str) -> None:
    assert drawn(letters) == letters
    assert letters in text(made(letters))


@pytest.mark.parametrize("kind", ["leftward", "pictures", "controls", "other scripts"])
def test_what_the_font_cannot_show_is_marked_and_said(kind: str) -> None:
    assert MARK in drawn(STRANGE[kind])
    assert " ".join(MARKED.split()) in text(made(STRANGE[kind]))


def test_a_page_that_shows_all_says_nothing_of_marks() -> None:
    assert MARKED not in text(made("plain"))


def test_no_mark_of_direction_reaches_the_page() -> None:
    assert "\u202e" not in drawn("a\u202eb")


def test_every_page_says_how_many_there_are() -> None:
    leaves = PdfReader(io.BytesIO(made(LONG))).pages
    assert [f"page {number}" in page.extract_text() for number, page in enumerate(leaves, 1)] == [True] * len(leaves)
    assert f"of {len(leaves)}" in leaves[-1].extract_text()


def test_the_letters_are_inside_the_file() -> None:
    assert made("Grüße").count(b"/FontFile2") == 2  # the plain face and the bold one, for whom has neither
