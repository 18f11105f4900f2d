"""The bait window opens before the peak, in each hemisphere at its own time, and only where something is known."""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

import pytest

from swapbell_models.calendar.place import Hemisphere, Place
from swapbell_models.calendar.season import EUROPE, SPANS, WINDOW, Season, Span, Stage, season

NELSON = Place(-41.3, 173.3, Hemisphere.SOUTH)
HOBART = Place(-42.9, 147.3, Hemisphere.SOUTH)
ADELAIDE = Place(-34.9, 138.6, Hemisphere.SOUTH)
LONDON = Place(51.5, -0.1, Hemisphere.NORTH)
IRVINE = Place(33.7, -117.8, Hemisphere.NORTH)
HONOLULU = Place(21.3, -157.9, Hemisphere.NORTH)


def span(place: Place, stage: Stage) -> Span:
    """Return the span of a stage at a place."""
    (found,) = (each for each in season(date(2026, 1, 1), place).known if each.stage is stage)
    return found


def stages(place: Place, *on: int) -> set[Stage]:
    """Return what happens at a place on a day of 2026, given as month and day."""
    return {each.stage for each in season(date(2026, *on), place).now}


@pytest.mark.parametrize(
    ("place", "stage", "first", "last"),
    [
        (NELSON, Stage.FOUNDING, (9, 15), (11, 30)),  # NZ J Zool 18:95-99, 1991: mid September to late November
        (NELSON, Stage.OPENING, (1, 1), (1, 31)),  # Spurr 1995: January
        (NELSON, Stage.BAITING, (1, 15), (3, 31)),  # Nelson Live, 18 January 2017; Wine Australia: late Feb to March
        (NELSON, Stage.TAKING, (2, 1), (3, 31)),  # Spurr 1995: February and March
        (NELSON, Stage.PEAK, (3, 1), (4, 30)),  # Sandlant and Moller 1989: March or April
        (NELSON, Stage.QUEENS, (4, 15), (5, 10)),  # Manawatu, NZ J Zool: mid April to early May
        (NELSON, Stage.ENDING, (6, 1), (7, 10)),  # Sandlant and Moller 1989: June, none after early July
        (ADELAIDE, Stage.NESTING, (11, 1), (5, 31)),  # Kasper et al. 2008: November to May
        (ADELAIDE, Stage.PEAK, (5, 15), (5, 31)),  # Kasper et al. 2008: end of May
        (IRVINE, Stage.BAITING, (8, 1), (9, 30)),  # Rust et al. 2016: not before early August
        (LONDON, Stage.FOUNDING, (4, 1), (5, 31)),  # from memory
        (LONDON, Stage.OPENING, (7, 1), (7, 31)),  # Spurr 1995 and six months
        (LONDON, Stage.TAKING, (8, 1), (9, 30)),  # Spurr 1995 and six months
        (LONDON, Stage.PEAK, (8, 1), (10, 15)),  # from memory
        (LONDON, Stage.QUEENS, (9, 1), (10, 31)),  # from memory
        (LONDON, Stage.ENDING, (11, 1), (12, 31)),  # from memory
    ],
)
def test_the_year_of_a_wasp(place: Place, stage: Stage, first: tuple[int, int], last: tuple[int, int]) -> None:
    found = span(place, stage)
    assert (found.first, found.last) == (first, last)


@pytest.mark.parametrize("place", [NELSON, LONDON])
def test_the_window_opens_before_the_peak_and_before_new_queens(place: Place) -> None:
    opening = span(place, Stage.OPENING).first
    assert opening < span(place, Stage.PEAK).first
    assert opening < span(place, Stage.QUEENS).first


@pytest.mark.parametrize(
    ("place", "days"),
    [
        (NELSON, 59),  # 1 January (Spurr 1995) to 1 March (Sandlant and Moller 1989)
        (LONDON, 31),  # 1 July (six months after Spurr 1995) to 1 August (from memory)
        (ADELAIDE, None),  # no window was found
        (IRVINE, None),  # no peak was found
        (HONOLULU, None),
    ],
)
def test_the_window_leads_the_peak_by_so_many_days(place: Place, days: int | None) -> None:
    assert season(date(2026, 1, 1), place).lead_days == days


def test_a_lead_may_run_over_the_turn_of_the_year() -> None:
    opens, peaks = ((12, 1), (12, 31)), ((2, 1), (2, 28))
    spans = (Span(Stage.OPENING, EUROPE, *opens, "invented"), Span(Stage.PEAK, EUROPE, *peaks, "invented"))
    assert Season(date(2026, 1, 1), spans).lead_days == 31 + 31


def test_a_span_of_one_day_is_one_day() -> None:
    only = Span(Stage.PEAK, EUROPE, (5, 3), (5, 3), "invented")
    assert [only.covers(date(2026, 5, day)) for day in (2, 3, 4)] == [False, True, False]


def test_a_southern_january_is_a_northern_july() -> None:
    assert stages(NELSON, 1, 10) == {Stage.OPENING}
    assert stages(LONDON, 7, 10) == {Stage.OPENING}
    assert stages(LONDON, 1, 10) == set()


def test_tasmania_has_the_season_of_new_zealand() -> None:
    assert season(date(2026, 3, 1), HOBART).known == season(date(2026, 3, 1), NELSON).known


@pytest.mark.parametrize(
    ("place", "month_day", "is_window"),
    [
        (NELSON, (12, 31), False),
        (NELSON, (1, 1), True),
        (NELSON, (3, 31), True),
        (NELSON, (4, 1), False),
        (IRVINE, (7, 31), False),
        (IRVINE, (8, 1), True),
        (LONDON, (6, 30), False),
        (LONDON, (9, 30), True),
        (ADELAIDE, (3, 1), None),
        (HONOLULU, (8, 1), None),
    ],
)
def test_the_window_is_open_closed_or_unknown(
    place: Place, month_day: tuple[int, int], is_window: bool | None
) -> None:
    assert season(date(2026, *month_day), place).is_window is is_window


def test_a_span_may_run_over_the_turn_of_the_year() -> None:
    nesting = span(ADELAIDE, Stage.NESTING)
    days = [date(2025, 10, 31), date(2025, 11, 1), date(2026, 1, 1), date(2026, 5, 31), date(2026, 6, 1)]
    assert [nesting.covers(day) for day in days] == [False, True, True, True, False]


@pytest.mark.parametrize(
    ("latitude_deg", "known"),
    [
        (-32.9, 0),
        (-33.0, 2),
        (-37.9, 2),
        (-38.0, 7),
        (-47.9, 7),
        (-48.0, 0),
        (31.9, 0),
        (32.0, 1),
        (40.0, 6),
        (59.9, 6),
        (60.0, 0),
    ],
)
def test_what_is_known_is_kept_to_its_band(latitude_deg: float, known: int) -> None:
    half = Hemisphere.NORTH if latitude_deg > 0 else Hemisphere.SOUTH
    assert len(season(date(2026, 1, 1), Place(latitude_deg, 0.0, half)).known) == known


def test_bands_do_not_overlap() -> None:
    bands = sorted({(s.band.hemisphere.value, s.band.from_deg, s.band.to_deg) for s in SPANS})
    assert all(a[0] != b[0] or a[2] <= b[1] for a, b in pairwise(bands))


def test_every_span_has_a_source() -> None:
    assert all(span.source for span in SPANS)


def test_the_season_is_told_with_its_sources() -> None:
    assert season(date(2026, 1, 10), NELSON).words == (
        "By the calendar the bait window is open: visits to protein bait rise fast "
        "(Spurr 1995, protein bait preferences)."
    )
    assert season(date(2026, 8, 10), NELSON).words == "By the calendar the bait window is closed."
    assert season(date(2026, 8, 10), HONOLULU).words.startswith("No bait window is known for this latitude")


def test_what_is_inferred_says_so() -> None:
    assert "inferred" in span(LONDON, Stage.OPENING).source


def test_the_window_is_made_of_three_stages() -> None:
    assert {Stage.OPENING, Stage.BAITING, Stage.TAKING} == WINDOW


def test_every_day_of_a_leap_year_has_an_answer() -> None:
    days = (date(2028, 1, 1) + timedelta(days=n) for n in range(366))
    assert all(season(day, NELSON).is_window is not None for day in days)


def test_a_moment_is_no_day() -> None:
    with pytest.raises(ValueError, match=r"^on must be a day at the place"):
        season(datetime(2026, 1, 15, tzinfo=UTC), NELSON)
