"""The season's answer says when to look, with its sources, and never pretends to know a latitude or a polar day."""

from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import pytest

from swapbell_host.trade.almanac import Where, answer
from swapbell_host.trade.answer import Answer

CHRISTCHURCH = Where("south", "-43.5321", "172.6362", date(2026, 1, 15), None, "Pacific/Auckland")
LONDON = Where("north", "51.5", None, date(2026, 7, 15), None, None)
TROMSO = Where("north", "69.6492", "18.9553", date(2026, 12, 21), None, None)


def values(told: Answer) -> dict[str, object]:
    """Return the bare values by their keys."""
    return {each.key: each.value for each in told.figures}


def words(told: Answer, key: str) -> str:
    """Return how one figure is said."""
    (found,) = (each.words for each in told.figures if each.key == key)
    return found


def test_the_window_is_told_with_its_sources() -> None:
    told = answer(CHRISTCHURCH)
    assert values(told)["window"] == "open"
    assert values(told)["opening"] == {"first": "01-01", "last": "01-31"}
    assert words(told, "peak") == "1 March to 30 April: colonies are most and largest"
    (opening,) = (each for each in told.figures if each.key == "opening")
    assert opening.source == "Spurr 1995, protein bait preferences"


def test_opening_and_peak_are_kept_apart() -> None:
    assert words(answer(CHRISTCHURCH), "lead") == "59 days before colonies begin to peak"
    assert values(answer(LONDON))["lead"] == 31


def test_a_closed_window_says_so() -> None:
    assert values(answer(replace(CHRISTCHURCH, on=date(2026, 6, 1))))["window"] == "closed"


def test_an_unknown_latitude_is_unknown_and_says_which_are_known() -> None:
    told = answer(replace(LONDON, latitude="10"))
    assert values(told)["window"] is None
    assert words(told, "bands").startswith("33 to 38 degrees south; 38 to 48 degrees south; 32 to 40 degrees north")


def test_without_a_longitude_nothing_is_said_of_the_sun() -> None:
    assert not {"sunrise", "sunset", "foraging"} & set(values(answer(LONDON)))


def test_the_hours_of_a_day_are_told_in_the_zone_of_the_place() -> None:
    # Its sunset is 21:10:07 by pvlib's SPA; foraging is 11 min longer each side (Kasper et al. 2008; our choice).
    told = answer(CHRISTCHURCH)
    assert words(told, "sunset") == "2026-01-15 21:10 NZDT"
    assert str(values(told)["sunset"]).startswith("2026-01-15T21:10:0")
    assert words(told, "foraging").startswith("2026-01-15 05:55 NZDT to 2026-01-15 21:21 NZDT")


def test_without_a_zone_times_are_told_in_utc() -> None:
    assert words(answer(replace(CHRISTCHURCH, zone=None)), "sunset") == "2026-01-15 08:10 UTC"


def test_a_polar_night_has_no_foraging_hours() -> None:
    told = answer(TROMSO)
    assert words(told, "sun") == "it does not rise on this day"
    assert (values(told)["sunrise"], values(told)["foraging"]) == (None, None)
    assert words(told, "foraging") == "none on this day: the sun does not rise"


def test_a_midnight_sun_has_a_whole_day_of_them() -> None:
    told = answer(replace(TROMSO, on=date(2026, 6, 21)))
    assert words(told, "sun") == "it does not set on this day"
    assert words(told, "sunset") == "none on this day"
    assert values(told)["foraging"] is not None


def test_a_day_with_a_sunrise_and_no_sunset_is_told_as_it_is() -> None:
    told = answer(replace(TROMSO, on=date(2026, 5, 18)))
    assert values(told)["sunrise"] is not None
    assert words(told, "sunset") == "none on this day"


@pytest.mark.parametrize(("hour_utc", "may"), [(0, True), (10, False)])
def test_a_moment_is_judged(hour_utc: int, may: bool) -> None:
    told = answer(replace(CHRISTCHURCH, at=datetime(2026, 1, 15, hour_utc, tzinfo=UTC)))
    assert values(told)["forages"] is may
    assert ("outside" in words(told, "forages")) is not may


def test_the_cautions_defer_to_counts_and_to_the_label() -> None:
    assert any("only counts say when to swap" in each for each in answer(LONDON).cautions)
    assert any("Label, permit and local law" in each for each in answer(LONDON).cautions)


def test_every_figure_names_its_source() -> None:
    assert all(each.source for where in (CHRISTCHURCH, LONDON, TROMSO) for each in answer(where).figures)


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"hemisphere": "sideways"}, r"--hemisphere must be north or south, not 'sideways'"),
        ({"hemisphere": "north"}, r"latitude_deg must be 0 to 90 in the north, not -43\.5321: check its sign"),
        ({"latitude": "43.5"}, r"latitude_deg must be -90 to 0 in the south, not 43\.5: check its sign"),
        ({"latitude": "nan"}, r"--latitude must be from -90 to 90 degrees, not nan"),
        ({"latitude": "91"}, r"--latitude must be from -90 to 90 degrees, not 91\.0"),
        ({"latitude": "43 S"}, r"--latitude must be a number of degrees, south and west negative, not '43 S'"),
        ({"longitude": "181"}, r"--longitude must be from -180 to 180 degrees, not 181\.0"),
        ({"longitude": "inf"}, r"--longitude must be from -180 to 180 degrees, not inf"),
        ({"longitude": "east"}, r"--longitude must be a number of degrees, .*, not 'east'"),
        ({"zone": "Mars"}, r"--zone must be a zone such as Pacific/Auckland, not 'Mars'"),
        ({"at": datetime(2026, 1, 15, 9)}, r"--at must say its offset from UTC, .*, not 2026-01-15T09:00:00"),  # noqa: DTZ001
        ({"longitude": None}, r"--at and --zone need --longitude"),
        ({"on": date(1, 1, 1)}, r"year of on must be from 1901 to 2099 AD, not 1"),
    ],
)
def test_what_cannot_be_used_is_named_and_quoted(changed: dict[str, Any], told: str) -> None:
    with pytest.raises(ValueError, match=f"^{told}$" if "need" not in told else f"^{told}"):
        answer(replace(CHRISTCHURCH, **changed))
