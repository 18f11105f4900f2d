"""How a telling reads on a phone."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest
from telling import NOW, ZONE, entry, said

from swapbell_host.alerting.letter import NAMED_MAX, WORDS, Line, body, title
from swapbell_host.alerting.outbox import OpenNotice, Why
from swapbell_host.jobs.moment import localized
from swapbell_host.judging.swap import NOT_YET
from swapbell_models.notice import NoticeKind, left_out_words, notice

# Our choice: what a phone shows without scrolling for long; a full round-up may be twice that.
LETTERS_MAX = 1000


def line(kind: NoticeKind, number: int = 1, station: str = "north", why: Why = Why.FIRST, spells: int = 0) -> Line:
    return Line(entry(kind, number, station), why, ZONE, spells)


def test_every_kind_has_its_words() -> None:
    assert set(WORDS) == set(NoticeKind)


@pytest.mark.parametrize(
    ("why", "words"),
    [
        (Why.FIRST, "swapbell: ready at orchard/north"),
        (Why.AGAIN, "swapbell: ready at orchard/north, reminder"),
        (Why.BEHIND, "swapbell: nobody answered yet: ready at orchard/north"),
    ],
)
def test_the_line_above_says_what_where_and_why(why: Why, words: str) -> None:
    assert title([line(NoticeKind.READY, why=why)]) == words


def test_the_line_above_many_counts_them_the_most_pressing_first() -> None:
    lines = [line(NoticeKind.SILENT), line(NoticeKind.READY), line(NoticeKind.SILENT), line(NoticeKind.LEFT_OUT)]
    assert title(lines) == "swapbell: 1 toxic bait left out, 1 ready, 2 silent"


def test_one_notice_comes_whole_with_how_to_answer() -> None:
    assert body([line(NoticeKind.SILENT, 7)]).splitlines() == [
        "orchard/north: something silent",
        "Seen to it: swapbell-host ack 7",
        'Not now: swapbell-host shelve 7 --for "2 h"',
    ]


def test_where_the_page_has_an_address_people_answer_there() -> None:
    page = "https://wasps.example.org"
    assert body([line(NoticeKind.SILENT)], page).endswith("not now: https://wasps.example.org/station/orchard/north")
    assert body([line(NoticeKind.SILENT), line(NoticeKind.BLIND)], page).endswith("https://wasps.example.org/")


def test_a_reminder_says_when_it_was_first_seen_by_the_sites_clock() -> None:
    assert body([line(NoticeKind.SILENT, why=Why.AGAIN)]).startswith(
        "First seen 2026-02-03 10:00 NZDT. orchard/north:"
    )


def test_what_comes_and_goes_says_how_often() -> None:
    assert body([line(NoticeKind.SILENT, spells=5)]).startswith("It comes and goes: 5 times within a day. ")


def test_moments_in_a_notice_are_told_by_the_sites_clock() -> None:
    out, by = datetime(2026, 4, 4, 1, 30, tzinfo=UTC), datetime(2026, 4, 7, 1, 30, tzinfo=UTC)
    told = notice("orchard", "north", NoticeKind.LEFT_OUT, by, left_out_words(out, by))
    words = body([Line(OpenNotice(1, told, None, 0), Why.FIRST, ZONE)])
    # New Zealand's clocks went back in between, on 5 April 2026 (tz database).
    assert "out since 2026-04-04 14:30 NZDT and was due out by 2026-04-07 13:30 NZST" in words
    assert "UTC" not in words


def test_what_is_no_moment_stays_as_it_is() -> None:
    assert localized("2026-02-03 25:00 UTC, 10 UTC", ZONE) == "2026-02-03 25:00 UTC, 10 UTC"


def test_many_notices_are_a_line_for_each_kind() -> None:
    lines = [line(NoticeKind.SILENT, 3), line(NoticeKind.LEFT_OUT, 4, "south", Why.BEHIND)]
    assert body(lines).splitlines() == [
        "Toxic bait is still out, take it out now: orchard/south (number 4, nobody answered yet).",
        "No counts come: orchard/north (number 3).",
        "All, with numbers: swapbell-host status. Seen to one: swapbell-host ack NUMBER",
    ]


def test_a_call_to_swap_among_many_comes_with_the_cautions_once() -> None:
    words = body([line(NoticeKind.READY, number) for number in range(3)])
    assert words.count("The label, local law and licensed practice come first") == 1


def test_a_call_to_swap_where_visitors_were_warned_of_says_so_alone_and_among_many() -> None:
    warned = replace(line(NoticeKind.READY, 3), warned=True)
    assert body([warned]).startswith("Do not swap before somebody has looked: other visitors came too, look first. ")
    many = body([warned, line(NoticeKind.READY, 4, "south")])
    assert "orchard/north (number 3, do not swap: other visitors came too, look first)" in many
    assert "orchard/south (number 4)" in many


def test_a_call_whose_own_words_hold_back_says_so_also_where_they_are_cut() -> None:
    told = notice("orchard", "north", NoticeKind.READY, NOW, f"{NOT_YET}: 3 honey bees. By its counts it is ready")
    held = replace(line(NoticeKind.READY, 3), entry=OpenNotice(3, told, None, 0))
    assert title([held]) == "swapbell: ready at orchard/north, but do not swap yet"
    assert body([held]).startswith("orchard/north: do not swap before somebody has looked: 3 honey bees.")
    assert "orchard/north (number 3, do not swap: " in body([held, line(NoticeKind.READY, 4, "south")])
    assert body([replace(held, warned=True)]).lower().count("do not swap") == 1


def test_a_thousand_notices_fit_a_phone() -> None:
    kinds = list(NoticeKind)
    lines = [line(kinds[k % len(kinds)], k, f"station-{k:04}", Why.AGAIN) for k in range(1000)]
    words = body(lines)
    assert (
        f"and {len([each for each in lines if each.entry.notice.kind is NoticeKind.LEFT_OUT]) - NAMED_MAX} more."
        in words
    )
    silent = sum(each.entry.notice.kind is NoticeKind.SILENT for each in lines)
    assert f"No counts come: {silent} stations." in words
    assert len(words) <= LETTERS_MAX * 2


def test_no_station_is_lost_from_the_counts() -> None:
    lines = [
        replace(line(NoticeKind.READY), entry=OpenNotice(k, said(NoticeKind.READY, f"s{k}"), NOW, 1))
        for k in range(40)
    ]
    assert title(lines) == "swapbell: 40 ready"
