"""What takes a longer memory is said once, too, and ends by itself."""

from dataclasses import replace
from datetime import timedelta

import pytest
from evidence import by_hour, lured, past

from swapbell_host import rules, slowrules
from swapbell_models.notice import NoticeKind

HOUR = timedelta(hours=1)
ANTS = by_hour(*[30] * 24, small=[*[0] * 23, 200])


def test_a_warning_is_told_once_while_it_is_open() -> None:
    assert [told.kind for told in slowrules.news(lured(counts=ANTS))] == [NoticeKind.VISITORS]
    assert slowrules.news(lured(past(NoticeKind.VISITORS, HOUR), counts=ANTS)) == []


@pytest.mark.parametrize(("ago", "said"), [(23 * HOUR, []), (24 * HOUR, [NoticeKind.VISITORS])])
def test_what_was_acknowledged_rests_for_a_day(ago: timedelta, said: list[NoticeKind]) -> None:
    acknowledged = past(NoticeKind.VISITORS, 30 * HOUR, acknowledged=ago)
    assert [told.kind for told in slowrules.news(lured(acknowledged, counts=ANTS))] == said


def test_what_ended_by_itself_holds_nothing_back() -> None:
    over = past(NoticeKind.VISITORS, 5 * HOUR)
    assert slowrules.news(lured(replace(over, ended_at=over.raised_at + HOUR), counts=ANTS))


def test_a_forecast_whose_day_has_passed_ends() -> None:
    old = past(NoticeKind.FORECAST, 40 * HOUR)
    assert slowrules.ended(lured(old)) == [(old, "the day that was meant has passed")]


def test_what_somebody_acknowledged_does_not_end_again() -> None:
    assert slowrules.ended(lured(past(NoticeKind.FORECAST, 40 * HOUR, acknowledged=HOUR))) == []


def test_every_slow_ending_adds_to_one_of_the_look_s() -> None:
    assert set(slowrules.ENDINGS) < set(rules.ENDINGS)
