"""Holes in the data are told where they are large and nobody has heard of them otherwise."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from evidence import EVENING_AT, Stretch, counted, lured, past

from swapbell_host.judging import holes
from swapbell_host.judging.evidence import Evidence, Missing
from swapbell_models.job import Job
from swapbell_models.message import Health, StationState
from swapbell_models.notice import NoticeKind
from swapbell_models.phase import Phase

DAY, HOUR = timedelta(days=1), timedelta(hours=1)
NOON_AT = datetime(2026, 2, 5, 2, 0, tzinfo=EVENING_AT.tzinfo)


def gap(hours: float) -> tuple[Stretch, ...]:
    """Return two days of which so much of the last noon was not watched."""
    return counted(lambda at: None if NOON_AT <= at < NOON_AT + hours * HOUR else Stretch(at))


def words(evidence: Evidence) -> str:
    told = holes.hole(evidence)
    return told.text if told else ""


def lost(tallies: int, ago: timedelta = HOUR, *, gone: bool = True) -> Missing:
    return Missing(EVENING_AT - ago, tallies, gone)


def test_a_day_that_was_watched_has_no_hole() -> None:
    assert not words(lured(counts=gap(0.0)))


def test_hours_of_the_foraging_day_that_nobody_watched_are_a_hole() -> None:
    assert not words(lured(counts=gap(2.8)))
    told = words(lured(counts=gap(3.25)))
    assert "3.3 foraging hours of the last day were not watched" in told
    assert "that does not mean quiet" in told


def test_a_host_that_was_away_waits_for_what_the_broker_kept() -> None:
    lately = EVENING_AT - timedelta(minutes=59)
    assert not words(lured(counts=gap(5.0), listening_since=lately))
    assert not words(lured(counts=gap(5.0), listening_since=None))
    assert words(lured(counts=gap(5.0), listening_since=lately - timedelta(minutes=1)))


def test_the_night_is_no_hole() -> None:
    by_day = counted(lambda at: Stretch(at) if at.hour >= 18 or at.hour < 11 else None)
    assert not words(lured(counts=by_day))


def test_time_that_was_told_of_but_not_watched_is_a_hole_too() -> None:
    blind = counted(lambda at: Stretch(at, watched_s=0.0 if NOON_AT <= at < NOON_AT + 4 * HOUR else 300.0))
    assert "4.0 foraging hours" in words(lured(counts=blind))


@pytest.mark.parametrize("kind", [NoticeKind.SILENT, NoticeKind.BLIND, NoticeKind.TWOFOLD])
def test_who_heard_why_nobody_watched_knows_of_the_gap(kind: NoticeKind) -> None:
    assert not words(lured(past(kind, 6 * HOUR, acknowledged=5 * HOUR), counts=gap(5.0)))


def test_a_silence_that_began_before_the_last_day_is_known_as_long_as_it_lasts() -> None:
    silent = past(NoticeKind.SILENT, 30 * HOUR)
    lately, earlier = (replace(silent, ended_at=EVENING_AT - ago) for ago in (23 * HOUR, 25 * HOUR))
    told = [words(lured(each, counts=gap(5.0))) for each in (silent, lately, earlier)]
    assert [bool(each) for each in told] == [False, False, True]


def test_without_a_place_nobody_knows_the_foraging_hours() -> None:
    assert not words(lured(counts=gap(5.0), place=None))


def test_before_the_last_entry_of_the_log_it_may_not_have_hung_there() -> None:
    hung = Job(EVENING_AT - HOUR, Phase.LURING, fresh_at=EVENING_AT - HOUR)
    assert not words(lured(counts=gap(5.0), job=hung))


def test_tallies_that_the_station_lost_are_told_although_its_silence_was() -> None:
    told = words(lured(past(NoticeKind.SILENT, 6 * HOUR), counts=gap(0.0), missing=[lost(240)]))
    assert "240 tallies from 2026-02-05 09:00 UTC on are missing: the station no longer has them" in told
    assert not words(lured(counts=gap(0.0), missing=[lost(239)]))


def test_what_waits_in_the_spool_may_come() -> None:
    waits = Health(station="gate", state=StationState.WATCHING, spool_tallies=300)
    here = Health(station="gate", state=StationState.WATCHING, spool_tallies=2)
    awaited = [lost(300, gone=False)]
    assert not words(lured(counts=gap(0.0), missing=awaited))
    assert not words(lured(counts=gap(0.0), missing=awaited, health=waits))
    assert "298 tallies" in words(lured(counts=gap(0.0), missing=awaited, health=here))


def test_a_hole_that_was_told_of_is_not_told_again() -> None:
    told = past(NoticeKind.HOLE, HOUR / 2, acknowledged=HOUR / 4)
    assert not words(lured(told, counts=gap(0.0), missing=[lost(500)]))


def test_a_hole_is_over_when_it_is_filled_and_not_before_half_of_it_is() -> None:
    told = past(NoticeKind.HOLE, HOUR)
    assert holes.is_filled(told, lured(told, counts=gap(1.4)))
    assert not holes.is_filled(told, lured(told, counts=gap(1.6)))
    assert not holes.is_filled(told, lured(told, counts=gap(0.0), missing=[lost(120)]))


def test_a_hole_is_over_when_it_is_a_day_old() -> None:
    assert holes.is_filled(past(NoticeKind.HOLE, DAY), lured(counts=gap(0.0), missing=[lost(500, DAY + HOUR)]))


@pytest.mark.parametrize("phase", [Phase.PLANNED, Phase.WITHDRAWN, Phase.CLOSED, Phase.ABANDONED])
def test_where_no_count_is_expected_nothing_is_missing(phase: Phase) -> None:
    assert not words(lured(counts=(), phase=phase))
