from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_host.jobs.moment import local, moment

AUCKLAND = ZoneInfo("Pacific/Auckland")


@pytest.mark.parametrize(
    "text",
    ["2026-01-15 17:30", "2026-01-15T17:30", "2026-01-15T17:30+13:00", "2026-01-15T04:30Z", "2026-01-15T04:30+00:00"],
)
def test_a_moment_is_read_by_the_sites_clock_unless_it_says_its_offset(text: str) -> None:
    assert moment(text, AUCKLAND) == datetime(2026, 1, 15, 4, 30, tzinfo=UTC)


# Daylight saving in New Zealand in 2026: until 5 April, 3:00, and from 27 September, 2:00 (Department of Internal
# Affairs; tz database).
@pytest.mark.parametrize("text", ["2026-04-05 02:30", "2026-09-27 02:30"])
def test_an_hour_that_the_clock_shows_twice_or_never_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="is not one moment in Pacific/Auckland"):
        moment(text, AUCKLAND)


@pytest.mark.parametrize("text", ["", "yesterday", "17:30", "2026-13-01", "0001-01-01T00:00+13:00", "x" * 10_000])
def test_what_is_no_moment_is_refused_in_one_short_line(text: str) -> None:
    with pytest.raises(ValueError, match="time") as refusal:
        moment(text, AUCKLAND)
    assert len(str(refusal.value)) < 200


@given(st.integers(0, 10**9).map(lambda s: datetime.fromtimestamp(10**9 + s, UTC)))
def test_what_is_shown_is_read_as_the_same_minute(at: datetime) -> None:
    assert moment(local(at, AUCKLAND).replace(" +", "+"), AUCKLAND) == at.replace(second=0, microsecond=0)
