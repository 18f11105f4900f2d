"""Counts as points, pictures, rows and words: no gap becomes zero, no peak is lost, and clocks are changed right."""

import re
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_host.count import Count, floor
from swapbell_host.jobs.entry import Act, Entry
from swapbell_host.jobs.plan import Station
from swapbell_host.jobs.stages import Stage, stages
from swapbell_host.page.plotting import clock
from swapbell_host.page.plotting.picture import BOTTOM_PX, TOP_PX, picture, spaced
from swapbell_host.page.plotting.plot import Mark, MarkKind, Plot, document, foraging, plot
from swapbell_host.page.plotting.points import POINTS_MAX, STEP, STEPS, points, step_for
from swapbell_host.page.plotting.rows import rows
from swapbell_host.page.plotting.stretch import Span, midnight, stretch
from swapbell_host.page.plotting.words import lasting, summary, unwatched
from swapbell_models.calendar.daylight import daylight
from swapbell_models.calendar.place import Hemisphere, Place
from swapbell_models.job import Terms
from swapbell_models.phase import Phase
from swapbell_models.readiness import Rule

AT = datetime(2026, 1, 14, 11, 0, tzinfo=UTC)
DAY = timedelta(days=1)
HOUR = timedelta(hours=1)
# Their clocks went back on 5 April 2026 at 14:00 UTC the day before, and will go forward on 26 September at 14:00 UTC
# (IANA time zone database, rule NZ: first Sunday in April, last Sunday in September, at 2:45 and 2:00 standard time).
AUCKLAND = ZoneInfo("Pacific/Auckland")
BACK_AT = datetime(2026, 4, 4, 14, 0, tzinfo=UTC)
FORWARD_AT = datetime(2026, 9, 26, 14, 0, tzinfo=UTC)
NELSON = Place(-41.27, 173.28, Hemisphere.SOUTH)


def count(nth: int, visits: int, watched_s: float = 300.0, at: datetime = AT) -> Count:
    return Count(at + nth * STEP, visits, visits, 0, 0, 300.0, watched_s)


def drawn(
    counts: list[Count], length: timedelta = HOUR, rule: Rule | None = None, now: datetime | None = None
) -> Plot:
    return plot(counts, (AT, AT + length), now or AT + length, rule or Rule(), AUCKLAND)


@st.composite
def counted(draw: st.DrawFn) -> list[Count]:
    nths = sorted(draw(st.sets(st.integers(0, 299), max_size=30)))
    return [count(nth, draw(st.integers(0, 40)), draw(st.sampled_from([0.0, 10.0, 180.0, 300.0]))) for nth in nths]


steps = st.sampled_from(STEPS)


# --- points


def test_what_nobody_watched_is_a_gap_and_not_zero() -> None:
    found = points([count(0, 3), count(2, 0)], AT, AT + 3 * STEP, STEP)
    assert [point.most for point in found] == [3, None, 0]
    assert [point.watched for point in found] == [1.0, 0.0, 1.0]


def test_none_seen_in_a_moments_watching_proves_nothing() -> None:
    (point,) = points([count(0, 0, 30.0)], AT, AT + STEP, STEP)
    assert (point.most, point.mean, point.watched) == (None, None, 0.1)


def test_some_seen_in_a_moments_watching_are_at_least_so_many_and_are_not_blown_up() -> None:
    (point,) = points([count(0, 2, 30.0)], AT, AT + STEP, STEP)
    assert (point.most, point.mean) == (2, None)


def test_what_was_watched_in_part_is_estimated_beside_its_count() -> None:
    (point,) = points([count(0, 6, 180.0)], AT, AT + STEP, STEP)
    assert (point.most, point.mean, point.whole) == (6, 10.0, False)


def test_what_was_watched_whole_needs_no_estimate() -> None:
    (point,) = points([count(0, 6)], AT, AT + STEP, STEP)
    assert (point.most, point.mean, point.whole) == (6, None, True)


def test_the_last_step_ends_with_what_can_be_known() -> None:
    (point,) = points([count(0, 4, 150.0)], AT, AT + STEP / 2, STEP)
    assert (point.watched, point.mean) == (1.0, None)


@given(counted(), steps)
def test_thinning_keeps_every_peak(counts: list[Count], step: timedelta) -> None:
    found = points(counts, AT, AT + 300 * STEP, step)
    for each in counts:
        own = next(point for point in found if point.from_at <= each.from_at < point.from_at + step)
        assert each.visits <= (own.most or 0)
    assert max((point.most or 0 for point in found), default=0) == max((each.visits for each in counts), default=0)


@given(counted(), steps)
def test_thinning_never_makes_a_gap_zero(counts: list[Count], step: timedelta) -> None:
    for point in points(counts, AT, AT + 300 * STEP, step):
        own = [each for each in counts if point.from_at <= each.from_at < point.from_at + step]
        assert (point.most is None) == (not any(each.visits or each.watched_s >= 150.0 for each in own))
        assert (point.watched > 0.0) == any(each.watched_s for each in own)


@given(counted(), steps)
def test_the_mean_of_a_step_is_that_of_its_watched_time(counts: list[Count], step: timedelta) -> None:
    for point in points(counts, AT, AT + 300 * STEP, step):
        own = [each for each in counts if point.from_at <= each.from_at < point.from_at + step]
        if point.mean is not None:
            watched_s = sum(each.watched_s for each in own)
            assert point.mean == pytest.approx(300.0 * sum(each.visits for each in own) / watched_s)


@given(st.timedeltas(timedelta(minutes=1), timedelta(days=900)))
def test_no_plot_sends_more_values_than_promised(length: timedelta) -> None:
    step = step_for(AT, AT + length)
    found = points([], AT, AT + length, step)
    assert 2 * len(found) <= POINTS_MAX
    assert step == STEPS[0] or 2 * len(points([], AT, AT + length, STEPS[STEPS.index(step) - 1])) > POINTS_MAX


def test_what_is_too_long_to_be_plotted_is_refused() -> None:
    with pytest.raises(ValueError, match=r"at most 1499 days"):
        step_for(AT, AT + timedelta(days=2000))


def test_steps_count_from_1970() -> None:
    assert floor(AT + timedelta(minutes=7), timedelta(minutes=5)) == AT + timedelta(minutes=5)


# --- the plot and its document


def twofold(nth: int) -> Count:
    return Count(AT + nth * STEP, 0, 0, 0, 0, 0.0, 0.0, 300.0)


def test_two_counters_are_a_gap_that_says_why() -> None:
    counts = [count(0, 3), twofold(1), twofold(2), count(3, 4), twofold(5)]
    found = drawn(counts, 6 * STEP)
    assert [point.most for point in found.points] == [3, None, None, 4, None, None]
    assert found.twofold == [(AT + STEP, AT + 3 * STEP), (AT + 5 * STEP, AT + 6 * STEP)]
    assert document(found)["twofold"] == [[_s(a), _s(b)] for a, b in found.twofold]
    assert "Two counters reported under its name for 15 min, first at" in summary(counts, found)[-1]


def test_two_counters_are_named_in_the_table() -> None:
    (row,) = rows([twofold(1)], AUCKLAND, AT, AT + HOUR)
    assert (row.visits, row.twofold) == (None, True)


def _s(at: datetime) -> int:
    return round(at.timestamp())


def test_gaps_are_drawn_up_to_now_and_not_beyond() -> None:
    found = drawn([count(0, 3)], now=AT + 6 * STEP)
    assert found.gaps == [(AT + STEP, AT + 6 * STEP)]


def test_the_rule_is_told_for_five_minutes() -> None:
    assert drawn([], rule=Rule(visits=20, window_s=600.0)).rule == 10.0


def test_foraging_hours_lie_between_the_nights() -> None:
    days = [daylight(NELSON, date(2026, 1, day)).foraging for day in (15, 16)]
    assert foraging(NELSON, AT, AT + 2 * DAY) == days


def test_without_a_place_no_foraging_hours_are_made_up() -> None:
    assert drawn([]).foraging is None
    assert drawn([], DAY, Rule(place=NELSON)).foraging


def test_marks_outside_are_left_out_and_the_others_are_in_time_order() -> None:
    marks = [Mark(AT + n * HOUR, MarkKind.DONE, str(n)) for n in (3, 1, -1)]
    found = plot([], (AT, AT + 2 * HOUR), AT + 2 * HOUR, Rule(), AUCKLAND, [], marks)
    assert [mark.words for mark in found.marks] == ["1"]


def test_the_document_says_null_where_nothing_is_known() -> None:
    found = document(drawn([count(0, 3), count(2, 6, 180.0)], 3 * STEP))
    assert (found["most"], found["mean"]) == ([3, None, 6], [None, None, 10.0])
    assert found["at"] == [AT.timestamp() + 300.0 * nth for nth in range(3)]
    assert found["gaps"] == [[AT.timestamp() + 300.0, AT.timestamp() + 600.0]]


# --- the clock


def test_a_clock_that_is_set_back_is_marked_where_it_happens() -> None:
    (change,) = clock.changes(AUCKLAND, BACK_AT - 10 * DAY, BACK_AT + 10 * DAY)
    assert (change.at, change.words) == (BACK_AT, "clock changes from NZDT to NZST")


@pytest.mark.parametrize(
    ("change_at", "labels"),
    [
        (BACK_AT, ["00:00", "03:00", "06:00"]),
        (FORWARD_AT, ["00:00", "03:00", "06:00"]),
    ],
)
def test_labels_say_what_the_sites_clock_shows_across_its_change(change_at: datetime, labels: list[str]) -> None:
    midnight_at = midnight((change_at.astimezone(AUCKLAND)).date(), AUCKLAND)
    found = clock.ticks(AUCKLAND, midnight_at, midnight_at + timedelta(hours=8))
    assert [tick.label for tick in found] == labels
    apart = [(after.at - before.at) / HOUR for before, after in pairwise(found)]
    assert apart == ([4.0, 3.0] if change_at is BACK_AT else [2.0, 3.0])


@pytest.mark.parametrize(("change_at", "hours"), [(BACK_AT, 25), (FORWARD_AT, 23), (AT, 24)])
def test_a_day_of_the_calendar_has_the_hours_that_its_clock_gives_it(change_at: datetime, hours: int) -> None:
    on = change_at.astimezone(AUCKLAND).date()
    shown = stretch(Span.DAY, on, AUCKLAND, AT - 200 * DAY, change_at + 10 * DAY)
    assert shown.to_at - shown.from_at == hours * HOUR
    found = rows([], AUCKLAND, shown.from_at, shown.to_at)
    assert len({row.label for row in found}) == len(found) == hours


def test_the_hour_that_comes_twice_is_two_rows() -> None:
    begin_at = BACK_AT - HOUR
    counts = [count(0, 3, at=begin_at), count(0, 5, at=BACK_AT)]
    found = rows(counts, AUCKLAND, begin_at, begin_at + 2 * HOUR)
    assert [(row.label, row.visits) for row in found] == [
        ("Sun 02:00 to 02:00 NZDT", 3),
        ("Sun 02:00 to 03:00 NZST", 5),
    ]


@pytest.mark.parametrize("name", ["Asia/Kathmandu", "Australia/Adelaide", "America/Santiago", "Pacific/Apia", "UTC"])
@pytest.mark.parametrize("length", [DAY, 7 * DAY, 182 * DAY])
def test_every_zone_gets_labels_in_order(name: str, length: timedelta) -> None:
    found = clock.ticks(ZoneInfo(name), AT + timedelta(minutes=7), AT + length)
    assert 5 <= len(found) <= 16
    assert all(before.at < after.at for before, after in pairwise(found))
    assert all(re.fullmatch(r"\d\d:00|\d+ \w{3}", tick.label) for tick in found)


def test_a_day_that_lacks_its_midnight_is_a_day() -> None:
    # Santiago's clock goes from 24:00 to 01:00 on 6 September 2026 (IANA time zone database, rule Chile).
    zone = ZoneInfo("America/Santiago")
    from_at = datetime(2026, 9, 4, 4, 0, tzinfo=UTC)
    found = [f"{there:%d %H}" for _, there in clock.days(zone, from_at, from_at + 3 * DAY)]
    assert found == ["04 00", "05 00", "06 01", "07 00"]


# --- what is shown


def test_what_is_shown_ends_now_unless_a_day_is_asked_for() -> None:
    shown = stretch(Span.WEEK, None, AUCKLAND, AT - 60 * DAY, AT)
    assert (shown.from_at, shown.to_at, shown.later) == (AT - 7 * DAY, AT, None)


def test_one_turns_by_whole_spans() -> None:
    shown = stretch(Span.WEEK, date(2026, 1, 8), AUCKLAND, AT - 60 * DAY, AT)
    assert (shown.earlier, shown.later) == (date(2026, 1, 1), date(2026, 1, 15))


def test_there_is_nothing_to_turn_to_before_the_story_and_after_now() -> None:
    shown = stretch(Span.DAY, date(2026, 1, 15), AUCKLAND, AT, AT)
    assert (shown.earlier, shown.later) == (None, None)


def test_a_season_begins_with_the_story() -> None:
    shown = stretch(Span.SEASON, None, AUCKLAND, AT - 30 * DAY, AT)
    assert shown.from_at == midnight((AT - 30 * DAY).astimezone(AUCKLAND).date(), AUCKLAND)


def test_a_day_ahead_is_today() -> None:
    assert stretch(Span.DAY, date(2027, 1, 1), AUCKLAND, AT - DAY, AT).to_at == AT


# --- the picture


def test_the_picture_lifts_its_pen_over_a_gap() -> None:
    found = picture(drawn([count(0, 3), count(1, 4), count(3, 5)]))
    assert found.counted.count("M") == 2
    assert len(found.gaps) == 2


def test_the_rule_lies_inside_the_picture_whatever_was_counted() -> None:
    for visits in (0, 3, 10, 400):
        assert TOP_PX < picture(drawn([count(0, visits)])).rule_y < BOTTOM_PX


def test_a_picture_of_nothing_is_one_gap() -> None:
    found = picture(drawn([]))
    assert (found.counted, len(found.gaps), len(found.dots)) == ("", 1, 0)


def test_estimates_are_dots_beside_the_counts() -> None:
    found = picture(drawn([count(0, 6, 180.0)]))
    (dot,) = found.dots
    assert dot[1] == found.rule_y


def test_labels_of_a_thinned_plot_are_days() -> None:
    found = picture(drawn([], 7 * DAY))
    assert all(re.fullmatch(r"\d+ Jan", label.words) for label in found.times)


def test_a_phase_that_is_too_short_for_its_name_goes_without() -> None:
    course = [Stage(Phase.LURING, AT, AT + 50 * STEP), Stage(Phase.TOXIC, AT + 50 * STEP, AT + 51 * STEP)]
    found = picture(plot([], (AT, AT + 51 * STEP), AT + 51 * STEP, Rule(), AUCKLAND, course))
    assert [box.words for box in found.stages] == ["luring", ""]


@given(st.floats(1.0, 1e6))
def test_heights_are_round_and_few(most: float) -> None:
    spacing = spaced(most)
    assert spacing >= 1.0
    assert most / spacing <= 5.0


# --- rows and words


@given(counted())
def test_rows_lose_no_visit(counts: list[Count]) -> None:
    found = rows(counts, AUCKLAND, AT, AT + 300 * STEP)
    assert sum(row.visits or 0 for row in found) == sum(each.visits for each in counts)
    assert sum(row.seconds for row in found) == pytest.approx(300 * 300.0)


def test_a_row_that_nobody_watched_has_no_number() -> None:
    first, second = rows([count(0, 0)], AUCKLAND, AT, AT + 2 * HOUR)
    assert (first.visits, second.visits, second.most) == (0, None, None)


def test_the_words_tell_what_the_plot_shows() -> None:
    counts = [count(0, 12), count(1, 11), count(3, 2)]
    words = " ".join(summary(counts, drawn(counts)))
    assert "25 visits counted in 15 min watched (25%)" in words
    assert "had 12 visits" in words
    assert "rule of 10 was reached in 1 spell" in words
    assert "Nobody watched for 45 min in 2 gaps" in words


def test_the_words_for_nothing_watched_claim_nothing() -> None:
    (sentence,) = summary([], drawn([]))
    assert sentence.endswith("nobody watched: whether wasps came is not known.")


def test_the_words_tell_how_much_of_the_foraging_hours_was_watched() -> None:
    # From 20:00 to 22:00 UTC it is morning in Nelson: all of it foraging, half of it watched.
    at = datetime(2026, 1, 14, 20, 0, tzinfo=UTC)
    counts = [count(nth, 0, at=at) for nth in range(12)]
    shown = plot(counts, (at, at + 2 * HOUR), at + 2 * HOUR, Rule(place=NELSON), AUCKLAND)
    assert "50% of the 2 h 0 min of foraging was watched." in summary(counts, shown)


def test_what_was_watched_at_night_counts_nothing_for_the_foraging_hours() -> None:
    at = datetime(2026, 1, 14, 15, 0, tzinfo=UTC)  # four in the morning in Nelson, two hours before the sun
    counts = [count(nth, 0, at=at) for nth in range(12)]
    shown = plot(counts, (at, at + 3 * HOUR), at + 3 * HOUR, Rule(place=NELSON), AUCKLAND)
    assert any(sentence.startswith("0% of the 1 h") for sentence in summary(counts, shown))


def test_a_place_that_nobody_gave_is_said() -> None:
    assert any("place is not known" in sentence for sentence in summary([count(0, 1)], drawn([count(0, 1)])))


def test_gaps_are_told_to_five_minutes_even_where_they_are_too_short_to_be_drawn() -> None:
    counts = [count(nth, 0) for nth in range(12 * 24 * 30) if nth != 4000]
    assert unwatched(counts, AT, AT + 30 * DAY) == [(AT + 4000 * STEP, AT + 4001 * STEP)]


def test_the_moments_since_the_last_count_are_no_gap() -> None:
    assert unwatched([count(0, 0)], AT, AT + STEP + timedelta(seconds=20)) == []


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(29.0, "0 min"), (3599.0, "1 h 0 min"), (7260.0, "2 h 1 min"), (180000.0, "2 d 2 h")],
)
def test_lengths_of_time_are_said_as_a_person_does(seconds: float, words: str) -> None:
    assert lasting(seconds) == words


# --- stages


def logged(number: int, act: Act, days: float, corrects: int | None = None) -> Entry:
    at = AT + days * DAY
    return Entry(
        site="a", station="b", act=act, at=at, by="Kim", corrects=corrects, id=number, logged_at=AT + 99 * DAY
    )


def course(*entries: Entry, until: float) -> list[tuple[str, float, float]]:
    found = stages(Station("a", "b", AT), Terms(), entries, AT + until * DAY)
    return [(each.phase.value, (each.from_at - AT) / DAY, (each.to_at - AT) / DAY) for each in found]


def test_stages_follow_the_log_and_the_deadline() -> None:
    entries = (logged(1, Act.LURED, 1), logged(2, Act.SWAPPED, 4), logged(3, Act.WITHDRAWN, 9))
    assert course(*entries, until=10) == [
        ("planned", 0, 1),
        ("luring", 1, 4),
        ("toxic", 4, 7),
        ("overdue", 7, 9),
        ("withdrawn", 9, 10),
    ]


def test_a_deadline_that_passed_without_an_act_turns_the_last_stage() -> None:
    entries = (logged(1, Act.LURED, 1), logged(2, Act.SWAPPED, 4))
    assert course(*entries, until=8)[-2:] == [("toxic", 4, 7), ("overdue", 7, 8)]


def test_what_was_corrected_makes_no_stage() -> None:
    entries = (logged(1, Act.LURED, 1), logged(2, Act.SWAPPED, 4), logged(3, Act.SWAPPED, 5, corrects=2))
    assert course(*entries, until=6) == [("planned", 0, 1), ("luring", 1, 5), ("toxic", 5, 6)]


def test_an_act_that_changes_no_phase_makes_no_new_stage() -> None:
    entries = (logged(1, Act.LURED, 1), logged(2, Act.REFRESHED, 2), logged(3, Act.SEEN, 2.5))
    assert course(*entries, until=3) == [("planned", 0, 1), ("luring", 1, 3)]
