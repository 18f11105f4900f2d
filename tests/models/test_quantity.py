"""What cannot be what it claims to be is refused: which argument, what was given, what is allowed."""

import math
from datetime import UTC, date, datetime, timedelta

import pytest

from swapbell_models.quantity import at_least, at_most, aware, between, day, lasting, named, positive, within


@pytest.mark.parametrize("wrong", [0.0, -1.0, math.nan, math.inf])
def test_a_positive_number_is_above_zero_and_finite(wrong: float) -> None:
    assert positive("bait_g", 0.1, "g") == 0.1
    with pytest.raises(ValueError, match=f"^bait_g must be a number above 0 g, not {wrong}$"):
        positive("bait_g", wrong, "g")


@pytest.mark.parametrize("wrong", [-1.0, math.nan, math.inf])
def test_a_mass_may_be_zero_but_not_less(wrong: float) -> None:
    assert at_least("back_g", 0.0, 0.0, "g") == 0.0
    with pytest.raises(ValueError, match=f"^back_g must be a number from 0 g up, not {wrong}$"):
        at_least("back_g", wrong, 0.0, "g")


@pytest.mark.parametrize("wrong", [-90.1, 90.1, math.nan, math.inf])
def test_bounds_belong_to_what_is_within(wrong: float) -> None:
    assert [within("latitude", edge, -90, 90, "degrees") for edge in (-90.0, 90.0)] == [-90.0, 90.0]
    with pytest.raises(ValueError, match=f"^latitude must be from -90 to 90 degrees, not {wrong}$"):
        within("latitude", wrong, -90, 90, "degrees")


@pytest.mark.parametrize("wrong", [0.0, 1.0, math.nan])
def test_bounds_do_not_belong_to_what_is_between(wrong: float) -> None:
    assert between("confidence", 0.95, 0, 1) == 0.95
    with pytest.raises(ValueError, match=f"^confidence must be above 0 and below 1, not {wrong}$"):
        between("confidence", wrong, 0, 1)


def test_a_moment_says_its_offset() -> None:
    moment = datetime(2026, 1, 15, 9, tzinfo=UTC)
    assert aware("now", moment) == moment
    with pytest.raises(ValueError, match=r"^now must say its offset from UTC, as in .*, not 2026-01-15T09:00:00$"):
        aware("now", moment.replace(tzinfo=None))


@pytest.mark.parametrize("wrong", [timedelta(), timedelta(days=-1), timedelta(days=3)])
def test_a_stretch_of_time_has_its_bounds(wrong: timedelta) -> None:
    assert lasting("toxic", timedelta(days=2), timedelta(days=2)) == timedelta(days=2)
    with pytest.raises(ValueError, match=r"^toxic must be above 0 and at most 2 days"):
        lasting("toxic", wrong, timedelta(days=2))


def test_a_day_is_no_moment() -> None:
    assert day("on", date(2026, 1, 15)) == date(2026, 1, 15)
    with pytest.raises(ValueError, match=r"^on must be a day at the place, as in 2026-01-15, not the moment 2026-01"):
        day("on", datetime(2026, 1, 15, 9, tzinfo=UTC))


def test_a_name_says_something() -> None:
    assert named("basis", "permit 12") == "permit 12"
    with pytest.raises(ValueError, match=r"^basis must not be empty$"):
        named("basis", " \t")


@pytest.mark.parametrize("wrong", [1.1, math.nan, -math.inf])
def test_a_fraction_may_be_negative_but_not_above_one(wrong: float) -> None:
    assert at_most("dead", 1.0, 1.0) == 1.0
    assert at_most("dead", -2.0, 1.0) == -2.0
    with pytest.raises(ValueError, match=rf"^dead must be a number up to 1, not {wrong}$"):
        at_most("dead", wrong, 1.0)


def test_a_bound_without_a_unit_is_named_alone() -> None:
    with pytest.raises(ValueError, match=r"^fano must be a number from 1 up, not 0\.5$"):
        at_least("fano", 0.5, 1.0)
