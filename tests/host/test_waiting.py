"""The forecast of a day ahead, and the swap that nobody made."""

from dataclasses import replace
from datetime import timedelta

import pytest
from evidence import BEES, EVENING_AT, HUNG_AT, lured, past

from swapbell_host.jobs.plan import Role
from swapbell_host.judging import waiting
from swapbell_host.judging.evidence import Evidence
from swapbell_models.job import Job
from swapbell_models.notice import NoticeKind, Urgency
from swapbell_models.phase import Phase
from swapbell_models.readiness import Step, Verdict
from swapbell_models.traffic import Window

DAY, HOUR = timedelta(days=1), timedelta(hours=1)
TOMORROW = "the call `ready` is likely about tomorrow noon."
READY = past(NoticeKind.READY, DAY)
NOT_TO_BE_SWAPPED = [{"role": Role.CONTROL}, *({"phase": each} for each in Phase if each is not Phase.LURING)]


def test_a_forecast_is_told_as_it_was_made() -> None:
    told = waiting.ahead(lured(forecast=TOMORROW))
    assert told is not None
    assert (told.kind, told.urgency, told.text) == (NoticeKind.FORECAST, Urgency.LOOK, f"valley/gate: {TOMORROW}")


def test_where_nothing_is_to_be_expected_nothing_is_said() -> None:
    assert waiting.ahead(lured()) is None


@pytest.mark.parametrize("known", NOT_TO_BE_SWAPPED)
def test_only_a_station_that_is_to_be_swapped_has_a_forecast(known: dict[str, object]) -> None:
    assert waiting.ahead(lured(forecast=TOMORROW, **known)) is None


@pytest.mark.parametrize("kind", [NoticeKind.FORECAST, NoticeKind.TOUCHED, NoticeKind.READY, NoticeKind.SWAP_OVERDUE])
def test_who_heard_as_much_or_more_lately_hears_no_forecast(kind: NoticeKind) -> None:
    assert waiting.ahead(lured(past(kind, 35 * HOUR, acknowledged=34 * HOUR), forecast=TOMORROW)) is None
    assert waiting.ahead(lured(past(kind, 37 * HOUR, acknowledged=36 * HOUR), forecast=TOMORROW))


def test_a_forecast_is_over_when_its_day_has_passed() -> None:
    assert not waiting.has_passed(past(NoticeKind.FORECAST, 35 * HOUR), lured())
    assert waiting.has_passed(past(NoticeKind.FORECAST, 36 * HOUR), lured())


def test_a_swap_is_overdue_a_day_after_the_first_call() -> None:
    assert waiting.overdue(lured(replace(READY, raised_at=READY.raised_at + timedelta(seconds=1)))) is None
    told = waiting.overdue(lured(READY, past(NoticeKind.READY, HOUR)))
    assert told is not None
    assert told.urgency is Urgency.ACT
    assert "ready for the swap since 2026-02-04 10:00 UTC, and no swap is logged" in told.text
    assert "First look for bees and other visitors" in told.text


def test_nobody_is_pressed_to_swap_where_bees_were_seen() -> None:
    assert waiting.overdue(lured(READY, sighting=BEES)) is None


def test_who_put_the_call_off_is_not_pressed_before_that_time() -> None:
    assert waiting.overdue(lured(replace(READY, shelved_until=EVENING_AT + HOUR))) is None
    assert waiting.overdue(lured(replace(READY, shelved_until=EVENING_AT)))


def test_an_acknowledged_call_is_no_swap() -> None:
    assert waiting.overdue(lured(past(NoticeKind.READY, DAY, acknowledged=23 * HOUR)))


def test_it_says_how_the_traffic_stands_now() -> None:
    window = Window(EVENING_AT - timedelta(minutes=5), EVENING_AT, 4, 300.0)
    told = waiting.overdue(lured(READY, verdict=Verdict(Step.QUIET, windows=(window,))))
    assert told is not None
    assert "Now: 4 visits in 5 min (quiet, rule: 10)." in told.text


def test_it_says_where_nobody_can_say_how_the_traffic_stands() -> None:
    told = waiting.overdue(lured(READY))
    assert told is not None
    assert "At the moment nobody can say (dark)." in told.text


def test_who_made_the_lure_fresh_after_the_call_chose_not_to_swap() -> None:
    refreshed = Job(EVENING_AT - 20 * HOUR, Phase.LURING, fresh_at=EVENING_AT - 20 * HOUR)
    assert waiting.overdue(lured(READY, job=refreshed)) is None


def test_an_open_warning_of_visitors_calls_nobody_to_swap() -> None:
    assert waiting.overdue(lured(READY, past(NoticeKind.VISITORS, 2 * DAY))) is None
    assert waiting.overdue(lured(READY, past(NoticeKind.VISITORS, 2 * DAY, acknowledged=DAY)))


@pytest.mark.parametrize("known", NOT_TO_BE_SWAPPED)
def test_only_a_station_that_is_to_be_swapped_is_overdue(known: dict[str, object]) -> None:
    assert waiting.overdue(lured(READY, **known)) is None


def test_a_call_of_an_earlier_job_is_over() -> None:
    before: Evidence = lured(past(NoticeKind.READY, EVENING_AT - HUNG_AT + HOUR))
    assert waiting.overdue(before) is None
