"""Which minutes are filmed: at random, evenly, and by no later draw."""

from collections import Counter
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from swapbell_device.evidence.draws import DAY_S, Chosen, next_choice
from swapbell_models.calendar.daylight import daylight
from swapbell_models.calendar.place import Hemisphere, Place

NELSON = Place(-41.3, 173.2, Hemisphere.SOUTH)
MORNING_AT = datetime(2026, 2, 3, 18, 0, tzinfo=UTC)


def choices(
    seed: str, parts: int, days: float, place: Place | None = None, started_at: datetime | None = None
) -> list[Chosen]:
    found, at_s = list[Chosen](), -1.0
    while (chosen := next_choice(seed, parts, at_s, "b1", place, started_at)) and chosen.start_s < days * DAY_S:
        found.append(chosen)
        at_s = chosen.start_s
    return found


@settings(max_examples=20)
@given(st.text(max_size=8), st.integers(1, 24))
def test_each_equal_part_of_a_day_has_one_whole_minute(seed: str, parts: int) -> None:
    drawn = choices(seed, parts, 2.0)
    length_s = DAY_S / parts
    assert [each.draw.part for each in drawn] == 2 * [*range(1, parts + 1)]
    for n, each in enumerate(drawn):
        assert each.start_s == pytest.approx(n * length_s + 60.0 * each.draw.minute)
        assert each.draw.minute < each.draw.minutes == length_s // 60.0


def test_every_minute_of_a_part_is_as_likely() -> None:
    firsts = (next_choice(str(seed), 96, -1.0, "b1", None, None) for seed in range(1500))
    drawn = Counter(first.draw.minute for first in firsts if first)
    assert set(drawn) == set(range(15))
    # Chi-square with 14 degrees of freedom: 36.1 is exceeded once in a thousand (a table's value, from memory).
    assert sum((seen - 100) ** 2 / 100 for seen in drawn.values()) < 36.1


def test_a_counter_that_starts_anew_draws_nothing_anew() -> None:
    before = choices("seed", 4, 3.0, NELSON, MORNING_AT)
    again = choices("seed", 4, 3.0, NELSON, MORNING_AT + timedelta(hours=5))
    ahead_s = timedelta(hours=5).total_seconds()
    shared = {each.draw: each.start_s for each in before if each.start_s > ahead_s}
    later = {each.draw: each.start_s + ahead_s for each in again}
    assert len(shared) >= 8
    assert {draw: later[draw] for draw in shared} == pytest.approx(shared, abs=1e-3)


def test_the_foraging_hours_of_the_place_are_divided() -> None:
    drawn = choices("seed", 4, 3.0, NELSON, MORNING_AT)
    assert {each.draw.day for each in drawn} >= {"2026-02-04", "2026-02-05"}
    for each in drawn:
        hours = daylight(NELSON, datetime.fromisoformat(each.draw.day).date()).foraging
        assert hours is not None
        begins_at = hours[0] + (hours[1] - hours[0]) * (each.draw.part - 1) / 4
        at = MORNING_AT + timedelta(seconds=each.start_s)
        assert begins_at <= at <= begins_at + (hours[1] - hours[0]) / 4 - timedelta(seconds=60)
    assert all(later.start_s - earlier.start_s >= 60.0 for earlier, later in pairwise(drawn))


def test_whoever_does_not_know_the_seed_cannot_foresee_the_minute() -> None:
    assert choices("one", 4, 3.0) != choices("other", 4, 3.0)


@pytest.mark.parametrize(("place", "started_at"), [(None, MORNING_AT), (NELSON, None)])
def test_without_place_or_time_of_day_a_start_s_own_days_are_divided(
    place: Place | None, started_at: datetime | None
) -> None:
    assert {each.draw.day for each in choices("seed", 4, 2.0, place, started_at)} == {"b1+0", "b1+1"}


def test_no_clips_a_day_are_none() -> None:
    assert next_choice("seed", 0, 0.0, "b1", None, None) is None
