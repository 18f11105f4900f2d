"""A mixing sheet says what `dose` says, to the letter, and refuses what it refuses."""

import json
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from orchard import NOON_AT, SITE
from paperwork import KEY, NOW_AT, STATED, Paperwork, paperwork, text

from swapbell_host.jobs.entry import Act
from swapbell_host.sheets import stated
from swapbell_host.sheets.form import Form, Paper
from swapbell_host.sheets.issue import mixing_sheet
from swapbell_host.trade.mixing import answer
from swapbell_models.fault import Mistake

# By the clock of the place, a day ahead of UTC.
TODAY = date(2026, 4, 14)
TWO = [KEY, (SITE, "west")]


@pytest.fixture
def books(tmp_path: Path) -> Iterator[Paperwork]:
    with paperwork(tmp_path) as books:
        yield books


def pdf(books: Paperwork, **given: str) -> str:
    return text(mixing_sheet(books.service, TWO, given, NOW_AT).content)


def told() -> list[str]:
    """Return all that `dose` says of two portions."""
    found = answer(stated.asked(STATED, 2, TODAY))
    return [*(each.words for each in found.figures), *found.warnings, *found.checks, *found.cautions]


def test_every_word_of_dose_is_on_the_sheet(books: Paperwork) -> None:
    shown = pdf(books).replace(" ", "")
    assert [words for words in told() if words.replace(" ", "") not in shown] == []


def test_cautions_come_before_any_figure(books: Paperwork) -> None:
    shown = pdf(books)
    assert shown.index("Wear chemical-resistant gloves") < shown.index("What was stated") < shown.index("0.17 mL")


def test_there_are_lines_for_two_people_to_sign(books: Paperwork) -> None:
    assert "mixed by checked by" in pdf(books).replace("name date and time signature ", "")


def test_each_station_has_a_line_for_what_goes_out_and_comes_back(books: Paperwork) -> None:
    assert pdf(books).count(f"{SITE}/west") >= 2


def test_disposal_is_left_to_the_label(books: Paperwork) -> None:
    assert "where this sheet and the label differ, the label is right" in pdf(books)


def test_without_an_authority_there_is_no_sheet(tmp_path: Path) -> None:
    with paperwork(tmp_path, {}) as books, pytest.raises(Mistake, match=r"nobody stated portion, .*authority"):
        mixing_sheet(books.service, TWO, {}, NOW_AT)


@pytest.mark.parametrize("name", STATED)
def test_nothing_that_allows_a_dose_is_filled_in(tmp_path: Path, name: str) -> None:
    less = {key: words for key, words in STATED.items() if key != name}
    with paperwork(tmp_path, less) as books, pytest.raises(Mistake, match=rf"nobody stated {name}:"):
        mixing_sheet(books.service, TWO, {}, NOW_AT)


def test_past_its_last_day_an_authority_allows_nothing(books: Paperwork) -> None:
    with pytest.raises(Mistake, match="permit 12 ended on 2026-03-01"):
        mixing_sheet(books.service, TWO, {"authority_until": "2026-03-01"}, NOW_AT)


def test_a_stronger_bait_than_allowed_is_refused_as_dose_refuses_it(books: Paperwork) -> None:
    with pytest.raises(Mistake, match=r"above the 0\.1 %"):
        mixing_sheet(books.service, TWO, {"target": "1 %"}, NOW_AT)


def test_a_slip_of_ten_is_said_first(books: Paperwork) -> None:
    shown = pdf(books, target="0.1 %")
    assert shown.index("LOOK OUT") < shown.index("about 10 times more") < shown.index("Before anything is opened")


def test_a_control_station_gets_no_toxic_bait(books: Paperwork) -> None:
    with pytest.raises(Mistake, match="far is a control station"):
        mixing_sheet(books.service, [(SITE, "far")], {}, NOW_AT)


def test_a_station_where_no_swap_is_legal_is_looked_at_first(books: Paperwork) -> None:
    books.log(Act.LURED, NOON_AT)
    shown = pdf(books)
    assert f"{SITE}/west is planned: no toxic bait can be put in there now" in shown
    assert "north is luring" not in shown


def test_a_portion_is_one_mass(books: Paperwork) -> None:
    with pytest.raises(Mistake, match="portion"):
        mixing_sheet(books.service, TWO, {"portion": "85 g + 20 g"}, NOW_AT)


def test_a_round_over_two_sites_needs_one_authority(books: Paperwork) -> None:
    from swapbell_host.jobs.plan import Site, Station

    books.plan.add_site(Site("hill", details={**STATED, "authority": "another permit"}))
    books.plan.add_station(Station("hill", "top", NOON_AT))
    with pytest.raises(Mistake, match="authority is 'permit 12' at one site and 'another permit' at hill"):
        mixing_sheet(books.service, [KEY, ("hill", "top")], {}, NOW_AT)


def test_what_is_given_for_the_sheet_comes_before_the_site(books: Paperwork) -> None:
    assert stated.together([books.service.sites(NOW_AT)[SITE]], {"portion": "70 g"})["portion"] == "70 g"


def test_an_unknown_station_is_refused_by_name(books: Paperwork) -> None:
    with pytest.raises(Mistake, match="station orchard/none"):
        mixing_sheet(books.service, [(SITE, "none")], {}, NOW_AT)


def test_the_same_values_give_the_same_bytes(books: Paperwork) -> None:
    one, other = (mixing_sheet(books.service, TWO, {}, NOW_AT).content for _ in range(2))
    assert one == other


def test_letter_paper_is_letter(books: Paperwork) -> None:
    import io

    from pypdf import PdfReader

    content = mixing_sheet(books.service, TWO, {}, NOW_AT, paper=Paper.LETTER).content
    assert [float(side) for side in PdfReader(io.BytesIO(content)).pages[0].mediabox[2:]] == [612.0, 792.0]


def test_programs_read_the_same_answer(books: Paperwork) -> None:
    found = json.loads(mixing_sheet(books.service, TWO, {}, NOW_AT, Form.JSON).content)
    assert (found["schema"], found["version"], found["on"]) == ("swapbell/mixing-sheet", 1, str(TODAY))
    assert found["answer"]["figures"]["product_volume"]["value"] == pytest.approx(170.0)
