"""What may be logged of a station and when, and what a correction does."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import count
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_host.jobs import entry
from swapbell_host.jobs.entry import Act, Entry, admit, expected, legal, place_of, replay, standing, start
from swapbell_host.jobs.plan import Role, Station, located
from swapbell_models.job import Job, Terms
from swapbell_models.phase import Event, Phase

DAY = timedelta(days=1)
BEGAN_AT = datetime(2026, 1, 1, tzinfo=UTC)
STATION = Station("orchard", "north", BEGAN_AT)
CONTROL = replace(STATION, role=Role.CONTROL)
TERMS = Terms()
WHOLE_JOB = [Act.LURED, Act.SWAPPED, Act.WITHDRAWN, Act.DISPOSED, Act.RELURED, Act.CLOSED]


def said(number: int, act: Act, days: float, **more: object) -> Entry:
    fields: dict[str, Any] = {"logged_at": BEGAN_AT + 100 * DAY, "by": "Kim"}
    fields |= {"site": "orchard", "station": "north", "act": act, "at": BEGAN_AT + days * DAY}
    return Entry(id=number, **(fields | more))


def log(*acts: Act) -> list[Entry]:
    return [said(number, act, number) for number, act in zip(count(1), acts)]


def job(*entries: Entry, station: Station = STATION) -> Job:
    return replay(station, TERMS, entries)


def refusal(entries: list[Entry], fresh: Entry, station: Station = STATION) -> str:
    with pytest.raises(ValueError, match=r"legal|entry|ahead") as caught:
        admit(station, TERMS, entries, fresh)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_whatever_moves_a_job_can_be_logged_but_the_deadline() -> None:
    assert set(entry.EVENTS.values()) == set(Event) - {Event.DEADLINE}


def test_a_whole_job_can_be_logged() -> None:
    assert job(*log(*WHOLE_JOB)).phase is Phase.CLOSED


def test_an_illegal_step_is_refused_with_what_is_legal() -> None:
    assert refusal(log(Act.LURED), said(2, Act.WITHDRAWN, 2)) == (
        "'withdrawn' at 2026-01-03 00:00 UTC is not legal while luring; "
        "legal then: refreshed, moved, swapped, closed, given up, weighed out, seen"
    )


def test_toxic_bait_in_hand_must_be_disposed_of_before_the_end() -> None:
    entries = log(Act.LURED, Act.SWAPPED, Act.WITHDRAWN, Act.RELURED)
    assert "not legal while verifying with toxic bait in hand" in refusal(entries, said(5, Act.CLOSED, 5))


@pytest.mark.parametrize("act", [Act.SWAPPED, Act.WEIGHED_OUT])
def test_a_control_station_gets_no_toxic_bait(act: Act) -> None:
    assert "not legal while luring as a control station" in refusal(log(Act.LURED), said(2, act, 2), CONTROL)


def test_a_control_station_is_not_expected_to_be_swapped() -> None:
    assert [due.event for due in expected(job(*log(Act.LURED)), Role.BAIT)] == [Event.REFRESHED, Event.SWAPPED]
    assert [due.event for due in expected(job(*log(Act.LURED)), Role.CONTROL)] == [Event.REFRESHED]


def test_what_lies_ahead_cannot_be_logged() -> None:
    late = said(1, Act.LURED, 0, logged_at=BEGAN_AT - timedelta(minutes=2))
    assert "lies ahead of now" in refusal([], late)


def test_what_was_done_before_the_station_was_planned_can_be_logged() -> None:
    assert job(said(1, Act.LURED, -3)).fresh_at == BEGAN_AT - 3 * DAY


def test_what_was_forgotten_can_be_logged_later_in_its_place() -> None:
    entries = [*log(Act.LURED, Act.SWAPPED), said(3, Act.REFRESHED, 1.5)]
    assert [each.act for each in standing(entries)] == [Act.LURED, Act.REFRESHED, Act.SWAPPED]


def test_what_would_make_a_later_entry_impossible_is_refused() -> None:
    assert "'swapped' at 2026-01-03" in refusal(log(Act.LURED, Act.SWAPPED), said(3, Act.CLOSED, 1.5))


def test_a_correction_takes_the_place_of_what_it_corrects() -> None:
    entries = log(Act.LURED, Act.SWAPPED)
    right = said(3, Act.REFRESHED, 2, corrects=2)
    assert admit(STATION, TERMS, entries, right).phase is Phase.LURING
    assert [each.id for each in standing([*entries, right])] == [1, 3]


def test_what_never_happened_is_struck_out() -> None:
    entries = [*log(Act.LURED, Act.SWAPPED), said(3, Act.STRUCK_OUT, 2, corrects=2)]
    assert job(*entries).phase is Phase.LURING


def test_a_correction_is_corrected_in_turn() -> None:
    entries = [*log(Act.LURED, Act.SWAPPED), said(3, Act.STRUCK_OUT, 2, corrects=2)]
    assert "entry 2 was corrected by entry 3; correct that one" in refusal(entries, said(4, Act.SEEN, 2, corrects=2))
    assert admit(STATION, TERMS, entries, said(4, Act.SWAPPED, 2, corrects=3)).phase is Phase.TOXIC


def test_only_an_entry_of_the_same_station_is_corrected() -> None:
    words = refusal(log(Act.LURED), said(9, Act.LURED, 1, corrects=7))
    assert words == "entry 7 is not one of this station's; they are: 1"


def test_a_correction_of_equal_time_keeps_its_place_among_the_others() -> None:
    entries = [said(1, Act.LURED, 1), said(2, Act.SWAPPED, 1), said(3, Act.LURED, 1, corrects=1, mass_g=80.0)]
    assert [each.id for each in standing(entries)] == [3, 2]


def test_striking_out_needs_something_to_strike() -> None:
    with pytest.raises(ValueError, match="needs the number of the entry"):
        said(1, Act.STRUCK_OUT, 1)


@pytest.mark.parametrize("mass_g", [-1.0, float("nan"), float("inf"), 1e6])
def test_a_mass_that_cannot_be_is_refused(mass_g: float) -> None:
    with pytest.raises(ValueError, match="mass must be"):
        said(1, Act.LURED, 1, mass_g=mass_g)


@pytest.mark.parametrize("photo", ["../up.jpg", "/etc/passwd", "a/b.jpg", ".hidden", ".."])
def test_a_photo_is_a_name_in_the_store_and_no_path(photo: str) -> None:
    with pytest.raises(ValueError, match="photo must be a name"):
        said(1, Act.LURED, 1, photo=photo)


def test_the_last_move_that_stands_says_where_a_station_hangs() -> None:
    there, elsewhere = located(-42.0, 147.0), located(-42.0, 147.001)
    planned = replace(STATION, place=located(-42.0, 146.0))
    moved = [said(1, Act.MOVED, 1, place=there), said(2, Act.MOVED, 2, place=elsewhere)]
    assert place_of(planned, []) == planned.place
    assert place_of(planned, moved) == elsewhere
    assert place_of(planned, [*moved, said(3, Act.STRUCK_OUT, 2, corrects=2)]) == there


def test_of_a_station_moved_without_a_word_where_to_nobody_knows_where_it_hangs() -> None:
    assert place_of(replace(STATION, place=located(-42.0, 146.0)), [said(1, Act.MOVED, 1)]) is None


def test_only_a_move_brings_a_place() -> None:
    with pytest.raises(ValueError, match="a position belongs to 'moved'"):
        said(1, Act.LURED, 1, place=located(-42.0, 147.0))


def test_a_correction_begins_with_what_was_said_before() -> None:
    before = said(1, Act.SWAPPED, 1, mass_g=8.5, weather="dry", details={"batch": "7"})
    draft = entry.blank("orchard", "north", Act.SWAPPED, "Robin", BEGAN_AT, 1, {1: before})
    assert (draft.at, draft.mass_g, draft.weather, draft.details) == (before.at, 8.5, "dry", {"batch": "7"})
    assert (draft.by, draft.corrects) == ("Robin", 1)


@pytest.mark.parametrize(("word", "meant"), [("Lured", Act.LURED), ("given-up", Act.GIVEN_UP), (" seen", Act.SEEN)])
def test_an_act_is_told_by_its_word(word: str, meant: Act) -> None:
    assert entry.act(word) is meant


def test_what_is_no_act_is_answered_with_those_that_are() -> None:
    with pytest.raises(ValueError, match="'poured' is nothing that is logged; choose from: lured, refreshed"):
        entry.act("poured")


@given(st.lists(st.sampled_from([act for act in Act if act is not Act.STRUCK_OUT]), max_size=12))
def test_what_is_called_legal_is_admitted_and_nothing_else(acts: list[Act]) -> None:
    entries: list[Entry] = []
    now = start(STATION, TERMS)
    for number, act in enumerate(acts, 1):
        fresh = said(number, act, number)
        if act in legal(now.at(fresh.at), Role.BAIT):
            now = admit(STATION, TERMS, entries, fresh)
            entries.append(fresh)
        else:
            assert "is not legal while" in refusal(entries, fresh)


@given(st.data())
def test_a_log_whose_corrections_were_admitted_is_always_read(data: st.DataObject) -> None:
    entries = log(*WHOLE_JOB)
    for number in range(7, 12):
        act, corrects = data.draw(st.sampled_from(list(Act))), data.draw(st.integers(1, number - 1))
        fresh = said(number, act, data.draw(st.floats(0, 8)), corrects=corrects)
        try:
            admit(STATION, TERMS, entries, fresh)
        except ValueError:
            continue
        entries.append(fresh)
    assert len({each.corrects for each in entries if each.corrects}) == sum(
        each.corrects is not None for each in entries
    )
    replay(STATION, TERMS, entries)
