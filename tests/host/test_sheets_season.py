"""A season report counts day by day, shows gaps as gaps, and says what became of the traffic and of the notices."""

import csv
import io
import json
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from orchard import NOON_AT, SITE, tally, topic_of, visits
from paperwork import DAY, KEY, NOW_AT, Paperwork, applied, paperwork, text
from reportlab.graphics.shapes import String

from swapbell_host.books.ledger import Ledger
from swapbell_host.books.notebook import Notebook
from swapbell_host.books.store import ledger_url
from swapbell_host.count import Count
from swapbell_host.intake import Arrival
from swapbell_host.jobs.entry import Act
from swapbell_host.jobs.plan import Station, place
from swapbell_host.jobs.stages import Stage
from swapbell_host.sheets.answering import answered
from swapbell_host.sheets.curve import curve, scale_top
from swapbell_host.sheets.form import Form
from swapbell_host.sheets.groundplan import round_down
from swapbell_host.sheets.issue import season_report
from swapbell_host.sheets.lettering import set_letters
from swapbell_host.sheets.season import STEP, Course, Day, days
from swapbell_models.fault import Mistake
from swapbell_models.message import Subject, encode
from swapbell_models.notice import NoticeKind, notice
from swapbell_models.phase import Phase
from swapbell_models.proof.fall import NOT_DEAD

ZONE = ZoneInfo("Pacific/Auckland")
HERE = place("42.8821 S 172.0 E")
SPAN = (NOON_AT, NOON_AT + 3 * DAY)
LURING = [Stage(Phase.LURING, NOON_AT - DAY, NOON_AT + 9 * DAY)]


@pytest.fixture
def books(tmp_path: Path) -> Iterator[Paperwork]:
    with paperwork(tmp_path) as books:
        yield books


def report(books: Paperwork, form: Form = Form.PDF) -> bytes:
    return season_report(books.store, books.service, SITE, NOW_AT, form=form).content


def object_of(books: Paperwork) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(report(books, Form.JSON))
    return found


def at(hour: int, day: int = 15) -> datetime:
    return datetime(2026, 3, day, hour, tzinfo=ZONE).astimezone(UTC)


def count(begun_at: datetime, visits: int, watched_s: float = 900.0) -> Count:
    return Count(begun_at, visits, 0, 0, 0, 900.0, watched_s)


def counted(*counts: Count) -> list[Day]:
    return list(days(counts, LURING, HERE, SPAN, ZONE))


def test_every_day_is_there_by_the_clock_of_the_place() -> None:
    assert [day.on for day in counted()] == [date(2026, 3, day) for day in (15, 16, 17, 18)]


def test_a_day_that_nobody_watched_is_a_gap_and_no_zero() -> None:
    assert [(day.visits, day.is_gap) for day in counted(count(at(12), 0))][:2] == [(0, False), (None, True)]


def test_what_was_counted_by_night_counts_and_is_in_no_rate() -> None:
    day = counted(count(at(2), 5, watched_s=0.0), count(at(12), 3))[0]
    assert (day.visits, day.per_h) == (8, 12.0)


def test_a_day_of_two_counters_is_a_gap_that_says_why() -> None:
    doubled = replace(count(at(12), 0, watched_s=0.0), seconds=0.0, twofold_s=900.0)
    day = counted(doubled)[0]
    assert (day.visits, day.is_gap, day.twofold_s) == (None, True, 900.0)


def test_an_hour_watched_is_its_share_of_the_foraging_hours() -> None:
    day = counted(*(count(at(12) + k * STEP, 1) for k in range(4)))[0]
    assert day.foraging_s is not None
    assert day.share == pytest.approx(3600.0 / day.foraging_s)


def test_without_a_place_no_share_is_known() -> None:
    (day, *_) = days([count(at(2), 5)], LURING, None, SPAN, ZONE)
    assert (day.share, day.watched_s) == (None, 900.0)


def test_no_count_is_expected_before_the_lure() -> None:
    planned = [Stage(Phase.PLANNED, NOON_AT - DAY, NOON_AT + 9 * DAY)]
    assert not any(day.is_gap for day in days([], planned, HERE, SPAN, ZONE))


@given(st.lists(st.tuples(st.integers(0, 287), st.integers(0, 50)), unique_by=lambda each: each[0], max_size=60))
def test_no_visit_is_lost_or_made_when_days_are_added_up(told: list[tuple[int, int]]) -> None:
    counts = [count(SPAN[0] + k * STEP, visits) for k, visits in told]
    assert sum(day.counted for day in counted(*counts)) == sum(visits for _, visits in told)


def test_a_day_on_which_the_clock_is_changed_is_one_day() -> None:
    # New Zealand's clock went back on 5 April 2026.
    span = (datetime(2026, 4, 3, 12, tzinfo=UTC), datetime(2026, 4, 6, 12, tzinfo=UTC))
    found = [day.on for day in days([], LURING, HERE, span, ZONE)]
    assert found == [date(2026, 4, day) for day in (4, 5, 6)]


@pytest.mark.parametrize("number", [1, 2, 5, 7, 13, 19, 20, 27, 60, 136, 137, 200, 366])
def test_the_time_axis_of_every_season_has_dates_that_do_not_touch(number: int) -> None:
    set_letters()
    span = (NOON_AT, NOON_AT + (number - 1) * DAY + timedelta(hours=1))
    course = Course(Station(SITE, "north", NOON_AT), HERE, (), (*days([], LURING, HERE, span, ZONE),), (), 0)
    assert len(course.days) == number
    words = [part for part in curve(course, ZONE, 480.0).contents if isinstance(part, String)]
    dates = [word for word in words if re.fullmatch(r"\d\d-\d\d", word.text)]
    assert len({word.text for word in dates}) == len(dates) >= 2
    lefts = [word.getBounds()[0] for word in dates]
    rights = [word.getBounds()[2] for word in dates]
    assert all(right < left for right, left in zip(rights, lefts[1:], strict=False))


def test_how_fast_a_notice_was_answered(books: Paperwork) -> None:
    book = Notebook(books.store)
    for minutes in (10, 20, 60):
        raised_at = NOON_AT + timedelta(hours=minutes)
        book.raise_notice(notice(*KEY, NoticeKind.READY, raised_at, "invented"), raised_at)
        book.acknowledge(book.open_notices()[0].id, raised_at + timedelta(minutes=minutes), "Kim")
    applied(books)
    (found,) = object_of(books)["notices"]
    assert (found["raised"], found["median_s"], found["longest_s"], found["open"]) == (3, 1200.0, 3600.0, 0)


def test_without_notices_nothing_is_answered() -> None:
    assert list(answered([])) == []


def test_counts_come_from_the_ledger_with_their_effort(books: Paperwork, tmp_path: Path) -> None:
    applied(books)
    told = [tally(seq, start_at=at(12), crossings=visits(1.0, 2.0)) for seq in range(1, 21)]
    with Ledger(ledger_url(str(tmp_path / "ledger.sqlite")), {}, NOON_AT) as ledger:
        ledger.record([Arrival(topic_of(Subject.TALLY), encode(each)) for each in told], NOON_AT + DAY)
    rows = csv.DictReader(io.StringIO(report(books, Form.CSV).decode(), newline=""))
    (row,) = (row for row in rows if (row["station"], row["day"]) == ("north", "2026-03-15"))
    assert (row["visits"], row["watched_s"], row["gap"]) == ("40", "300.0", "no")


def noted(books: Paperwork, tmp_path: Path, begun_at: datetime, *boots: str) -> dict[str, str]:
    """Return the report's row of the day on which some boots counted for five minutes."""
    applied(books)
    told = [
        tally(seq, start_at=begun_at, boot=boot, crossings=visits(1.0, 2.0)) for boot in boots for seq in range(1, 21)
    ]
    with Ledger(ledger_url(str(tmp_path / "ledger.sqlite")), {}, NOON_AT) as ledger:
        ledger.record([Arrival(topic_of(Subject.TALLY), encode(each)) for each in told], NOON_AT + DAY)
    rows = csv.DictReader(io.StringIO(report(books, Form.CSV).decode(), newline=""))
    return next(row for row in rows if (row["station"], row["day"]) == ("north", "2026-03-15"))


def test_nobody_watched_at_night_whatever_the_counter_says(books: Paperwork, tmp_path: Path) -> None:
    row = noted(books, tmp_path, at(2), "b1")
    assert (row["visits"], row["watched_s"], row["watched_share"]) == ("40", "0.0", "0.0")


def test_two_counters_under_one_name_are_counted_as_neither(books: Paperwork, tmp_path: Path) -> None:
    row = noted(books, tmp_path, at(12), "b1", "b2")
    assert (row["visits"], row["watched_s"], row["twofold_s"]) == ("", "0.0", "300.0")
    assert "two counters reported under its name, which is counted as a gap: 2026-03-15" in text(report(books))


def test_a_gap_in_the_table_is_an_empty_cell(books: Paperwork) -> None:
    applied(books)
    rows = csv.DictReader(io.StringIO(report(books, Form.CSV).decode(), newline=""))
    (row,) = (row for row in rows if (row["station"], row["day"]) == ("north", "2026-03-16"))
    assert (row["visits"], row["small"], row["gap"], row["phase"]) == ("", "", "yes", "luring")


def test_the_report_says_what_it_cannot_tell(books: Paperwork) -> None:
    applied(books)
    shown = text(report(books))
    assert all(words in shown for words in (NOT_DEAD, "no data is not zero", "Length alone cannot tell a wasp"))


def test_that_nobody_logged_an_incident_is_not_said_as_none(books: Paperwork) -> None:
    applied(books)
    assert "Nobody logged anything of this, neither some nor none." in text(report(books))


def test_what_was_seen_and_what_went_wrong_is_told_by_whom_and_when(books: Paperwork) -> None:
    applied(books)
    books.log(Act.SEEN, NOON_AT + 7 * DAY, incident="a dog pulled at the chain", non_targets="two flies")
    shown = text(report(books))
    assert "2026-03-22 01:00 +1300 north, seen, Kim: a dog pulled at the chain" in shown
    assert "Kim: two flies" in shown


def test_where_too_little_was_watched_no_number_is_given(books: Paperwork) -> None:
    applied(books)
    (after,) = object_of(books)["after_swaps"]
    assert after["findings"][0]["ratio"] is None
    assert "cannot be told" in after["findings"][0]["words"]


def test_a_report_looks_no_further_than_its_end(books: Paperwork) -> None:
    applied(books)
    books.log(Act.RELURED, NOON_AT + 7 * DAY)
    words = [
        json.loads(season_report(books.store, books.service, SITE, NOW_AT, (NOON_AT, end_at), Form.JSON).content)
        for end_at in (NOON_AT + 6.5 * DAY, NOON_AT + 7.5 * DAY)
    ]
    early, late = (each["after_swaps"][0]["findings"][0]["words"] for each in words)
    assert "no fresh lure was hung out since the swap" in early
    assert "no fresh lure was hung out since the swap" not in late


def test_a_report_needs_a_beginning_before_its_end(books: Paperwork) -> None:
    with pytest.raises(Mistake, match="beginning before its end"):
        season_report(books.store, books.service, SITE, NOW_AT, (NOW_AT, NOW_AT - DAY))


def test_the_same_season_gives_the_same_bytes(books: Paperwork) -> None:
    applied(books)
    assert report(books) == report(books)


@pytest.mark.parametrize(
    ("most", "top"), [(0.0, 1.0), (1.0, 1.0), (3.0, 4.0), (9.0, 10.0), (63.0, 80.0), (81.0, 100.0)]
)
def test_a_scale_ends_at_a_round_number(most: float, top: float) -> None:
    assert scale_top(most) == top


@given(st.floats(0.01, 1e6))
def test_a_bar_is_the_longest_round_length_that_fits(length_m: float) -> None:
    found = round_down(length_m)
    assert found <= length_m * (1.0 + 1e-9)
    assert length_m < found * 2.5 * (1.0 + 1e-9)
