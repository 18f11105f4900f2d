"""What people are told over invented days of many stations, with all that goes wrong; the bench plays a season."""

from pathlib import Path

import pytest
from alertload.audit import audit
from alertload.play import Play, Season
from alertload.report import Report

# Held for a whole season by the bench; a few days swing more.
A_DAY_MAX = 3.0


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Report:
    play = Play(Season(days=10, stations=20), Path(tmp_path_factory.mktemp("season")))
    play.run()
    return audit(play)


def test_nobody_misses_what_they_had_to_know(report: Report) -> None:
    assert report.missed == []


def test_the_weeks_were_no_easy_ones(report: Report) -> None:
    assert {"ready", "silent", "toxic bait due out", "touched"} <= set(report.raised)
    assert sum(report.raised.values()) > 100


def test_nobody_is_told_more_than_three_times_a_day(report: Report) -> None:
    assert all(report.a_day(person) <= A_DAY_MAX for person in report.messages)


def test_no_station_is_named_to_anybody_twice_a_day_but_by_escalations(report: Report) -> None:
    assert (report.besides, report.repeats) == ([], [])
    assert report.escalations.total() > 0


def test_nobody_is_told_in_the_night_what_can_wait(report: Report) -> None:
    assert report.woken == []
