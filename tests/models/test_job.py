"""A job follows its log, keeps its deadlines, and never ends with toxic bait out or in hand."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_models.job import EXPECTED, Due, Job, Terms
from swapbell_models.phase import Event, Phase

START_AT = datetime(2026, 1, 15, 9, tzinfo=UTC)
DAY = timedelta(days=1)
TERMS = Terms()


def after_days(*events: tuple[float, Event], terms: Terms = TERMS) -> Job:
    """Return the job after these events, each so many days after the start."""
    job = Job(START_AT, terms=terms)
    for days, event in events:
        job = job.after(event, START_AT + days * DAY)
    return job


LURED = (0, Event.LURED)
SWAPPED = (3, Event.SWAPPED)
WITHDRAWN = (6, Event.WITHDRAWN)
RELURED = (6, Event.RELURED)


def dues(job: Job) -> dict[Event, float | None]:
    """Return what is expected and by when, in days after the start."""
    return {due.event: (due.by_at - START_AT) / DAY if due.by_at else None for due in job.expects}


def test_a_whole_job_goes_from_plan_to_close() -> None:
    job = after_days(LURED, SWAPPED, WITHDRAWN, (6, Event.DISPOSED), RELURED, (31, Event.CLOSED))
    assert job.phase is Phase.CLOSED
    assert job.expects == ()


def test_a_planned_station_expects_its_lure_without_a_clock() -> None:
    assert Job(START_AT).expects == (Due(Event.LURED, None, "hang out the station with a lure"),)


def test_a_lure_is_to_be_refreshed_after_three_days_and_the_swap_has_no_clock() -> None:
    assert dues(after_days(LURED)) == {Event.REFRESHED: 3, Event.SWAPPED: None}


def test_a_refreshed_lure_lasts_anew() -> None:
    assert dues(after_days(LURED, (2, Event.REFRESHED)))[Event.REFRESHED] == 5


def test_moving_a_station_does_not_refresh_its_lure() -> None:
    assert dues(after_days(LURED, (2, Event.MOVED)))[Event.REFRESHED] == 3


def test_toxic_bait_is_due_out_after_three_days() -> None:
    assert dues(after_days(LURED, SWAPPED)) == {Event.WITHDRAWN: 6}


def test_toxic_bait_is_overdue_from_its_deadline_on() -> None:
    job = after_days(LURED, SWAPPED)
    assert job.at(START_AT + 6 * DAY - timedelta(microseconds=1)).phase is Phase.TOXIC
    assert job.at(START_AT + 6 * DAY).phase is Phase.OVERDUE


def test_overdue_keeps_its_deadline() -> None:
    assert dues(after_days(LURED, SWAPPED).at(START_AT + 20 * DAY)) == {Event.WITHDRAWN: 6}


def test_a_late_withdrawal_is_a_withdrawal() -> None:
    assert after_days(LURED, SWAPPED, (20, Event.WITHDRAWN)).phase is Phase.WITHDRAWN


def test_a_withdrawal_entered_late_with_its_true_time_counts_as_in_time() -> None:
    overdue = after_days(LURED, SWAPPED).at(START_AT + 20 * DAY)
    assert overdue.after(Event.WITHDRAWN, START_AT + 5 * DAY).withdrawn_at == START_AT + 5 * DAY


def test_bait_is_not_lost_before_its_deadline() -> None:
    with pytest.raises(ValueError, match="'lost' is not legal while toxic; legal now: withdrawn"):
        after_days(LURED, SWAPPED, (5, Event.LOST))


def test_bait_that_cannot_be_found_is_lost_after_its_deadline() -> None:
    assert after_days(LURED, SWAPPED, (7, Event.LOST)).phase is Phase.ABANDONED


def test_after_the_withdrawal_lure_and_disposal_are_due_within_a_day() -> None:
    assert dues(after_days(LURED, SWAPPED, WITHDRAWN)) == {Event.RELURED: 7, Event.DISPOSED: 7}


def test_bait_once_disposed_of_is_not_asked_for_again() -> None:
    job = after_days(LURED, SWAPPED, WITHDRAWN, RELURED, (6.5, Event.DISPOSED))
    assert dues(job) == {Event.REFRESHED: 9, Event.CLOSED: 31}


def test_verifying_lasts_four_weeks_from_the_swap_with_fresh_lure() -> None:
    job = after_days(LURED, SWAPPED, WITHDRAWN, (6, Event.DISPOSED), RELURED, (9, Event.REFRESHED))
    assert dues(job) == {Event.REFRESHED: 12, Event.CLOSED: 31}


def test_a_job_does_not_end_with_toxic_bait_in_hand() -> None:
    with pytest.raises(ValueError, match=r"with toxic bait in hand; legal now: refreshed, disposed, swapped$"):
        after_days(LURED, SWAPPED, WITHDRAWN, RELURED, (31, Event.CLOSED))


def test_bait_in_hand_leaves_the_other_acts_legal() -> None:
    assert after_days(LURED, SWAPPED, WITHDRAWN, RELURED).legal == (Event.REFRESHED, Event.DISPOSED, Event.SWAPPED)


def test_rebaiting_sets_a_new_deadline() -> None:
    assert dues(after_days(LURED, SWAPPED, (4, Event.WITHDRAWN), (4, Event.REBAITED))) == {Event.WITHDRAWN: 7}


def test_a_second_swap_is_possible_while_verifying() -> None:
    job = after_days(LURED, SWAPPED, WITHDRAWN, RELURED, (20, Event.SWAPPED))
    assert (job.phase, job.in_hand) == (Phase.TOXIC, True)


def test_terms_move_the_deadlines() -> None:
    terms = Terms(lure=DAY, toxic=7 * DAY, idle=2 * DAY, watch=14 * DAY)
    job = after_days(LURED, (0, Event.SWAPPED), terms=terms)
    assert dues(job)[Event.WITHDRAWN] == 7
    assert dues(job.after(Event.WITHDRAWN, START_AT))[Event.RELURED] == 2


@pytest.mark.parametrize(("name", "days"), [("lure", 14), ("toxic", 8), ("idle", 14), ("watch", 182)])
def test_a_term_has_its_bounds(name: str, days: int) -> None:
    Terms(**{name: days * DAY})
    for wrong in (timedelta(), -DAY, days * DAY + timedelta(seconds=1)):
        with pytest.raises(ValueError, match=rf"^{name} must be above 0 and at most {days} days"):
            Terms(**{name: wrong})


def test_the_deadline_is_not_logged_by_hand() -> None:
    with pytest.raises(ValueError, match="'deadline passed' cannot be logged"):
        after_days(LURED, SWAPPED, (7, Event.DEADLINE))


def test_time_does_not_run_backwards() -> None:
    with pytest.raises(ValueError, match="must not lie before the last event"):
        after_days(LURED, (2, Event.REFRESHED), (1, Event.SWAPPED))


def test_a_naive_moment_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^now must say its offset from UTC, as in .*, not 2026-02-01T00:00:00$"):
        Job(START_AT).at(datetime.fromisoformat("2026-02-01"))
    with pytest.raises(ValueError, match=r"^logged_at must say its offset"):
        Job(datetime.fromisoformat("2026-02-01"))


def test_nothing_in_hand_needs_no_disposal() -> None:
    with pytest.raises(ValueError, match="'disposed' is not legal with no bait in hand; legal now: "):
        after_days(LURED, SWAPPED, WITHDRAWN, (6, Event.DISPOSED), (6, Event.DISPOSED))


@given(st.lists(st.tuples(st.floats(0, 12), st.integers(0, 9)), max_size=25))
def test_toxic_bait_is_withdrawn_before_anything_else(
    choices: list[tuple[float, int]],
) -> None:
    job, out = Job(START_AT), False
    for days, choice in choices:
        job = job.at(job.logged_at + days * DAY)
        if not job.legal:
            break
        event = job.legal[choice % len(job.legal)]
        job = job.after(event, job.logged_at + days * DAY)
        assert not (out and event in {Event.SWAPPED, Event.REBAITED, Event.CLOSED, Event.GIVEN_UP, Event.MOVED})
        out = (out or event in {Event.SWAPPED, Event.REBAITED}) and event not in {Event.WITHDRAWN, Event.LOST}
        assert out == (job.phase in {Phase.TOXIC, Phase.OVERDUE})
        assert not (job.in_hand and job.phase in {Phase.CLOSED, Phase.ABANDONED})


def test_every_phase_says_what_it_expects() -> None:
    assert set(EXPECTED) == set(Phase)
