"""The transition table keeps toxic bait on a leash, whichever way a job goes."""

from collections.abc import Iterator

import pytest

from swapbell_models.phase import TABLE, Event, Phase, acts, following

OUT = {Phase.TOXIC, Phase.OVERDUE}


def reachable(start: Phase, without: Event | None = None) -> set[Phase]:
    """Return every phase that some row of events leads to."""
    seen, edge = set[Phase](), {start}
    while edge:
        seen |= edge
        edge = {to for phase in edge for event, to in TABLE[phase].items() if event is not without} - seen
    return seen


def steps() -> Iterator[tuple[Phase, Event, Phase]]:
    return ((phase, event, to) for phase, row in TABLE.items() for event, to in row.items())


def test_every_phase_has_a_row() -> None:
    assert set(TABLE) == set(Phase)


def test_every_phase_can_be_reached() -> None:
    assert reachable(Phase.PLANNED) == set(Phase)


def test_every_event_is_legal_somewhere() -> None:
    assert {event for _, event, _ in steps()} == set(Event)


def test_toxic_leads_only_to_withdrawn_or_overdue() -> None:
    assert set(TABLE[Phase.TOXIC].values()) == {Phase.WITHDRAWN, Phase.OVERDUE}


def test_overdue_ends_only_by_withdrawing_or_losing_the_bait() -> None:
    assert set(TABLE[Phase.OVERDUE]) == {Event.WITHDRAWN, Event.LOST}


def test_toxic_is_not_reached_twice_without_a_withdrawal() -> None:
    after_toxic = {to for phase in OUT for event, to in TABLE[phase].items() if event is not Event.WITHDRAWN} - OUT
    assert all(Phase.TOXIC not in reachable(phase) for phase in after_toxic)


def test_only_a_withdrawal_leads_to_withdrawn() -> None:
    assert {event for _, event, to in steps() if to is Phase.WITHDRAWN} == {Event.WITHDRAWN, Event.DISPOSED}
    assert {phase for phase, event, _ in steps() if event is Event.DISPOSED} == {Phase.WITHDRAWN, Phase.VERIFYING}


def test_toxic_bait_is_put_in_only_by_a_swap_or_by_rebaiting() -> None:
    assert {event for _, event, to in steps() if to is Phase.TOXIC} == {Event.SWAPPED, Event.REBAITED}


def test_a_swap_takes_out_a_lure_that_hangs() -> None:
    assert {phase for phase, event, _ in steps() if event is Event.SWAPPED} == {Phase.LURING, Phase.VERIFYING}


def test_closing_after_toxic_bait_needs_a_fresh_lure_first() -> None:
    assert Phase.CLOSED not in reachable(Phase.WITHDRAWN, without=Event.RELURED)


def test_a_station_with_toxic_bait_is_never_moved() -> None:
    assert not {phase for phase, event, _ in steps() if event is Event.MOVED} & OUT


@pytest.mark.parametrize("phase", [phase for phase in Phase if phase not in {Phase.CLOSED, Phase.ABANDONED}])
def test_no_phase_is_a_trap(phase: Phase) -> None:
    assert reachable(phase) & {Phase.CLOSED, Phase.ABANDONED}


@pytest.mark.parametrize("phase", [Phase.CLOSED, Phase.ABANDONED])
def test_an_ended_job_stays_ended(phase: Phase) -> None:
    assert acts(phase) == ()
    with pytest.raises(ValueError, match="nothing, the job has ended"):
        following(phase, Event.LURED)


def test_an_illegal_event_is_told_what_is_legal() -> None:
    with pytest.raises(ValueError, match=r"^event 'closed' is not legal while toxic; legal now: withdrawn$"):
        following(Phase.TOXIC, Event.CLOSED)


def test_nobody_logs_the_deadline() -> None:
    assert all(Event.DEADLINE not in acts(phase) for phase in Phase)


def test_the_table_is_this_one() -> None:
    told = {f"{phase.value}: {event.value} -> {to.value}" for phase, event, to in steps()}
    assert told == {
        "planned: lured -> luring",
        "planned: moved -> planned",
        "planned: given up -> abandoned",
        "luring: refreshed -> luring",
        "luring: moved -> luring",
        "luring: swapped -> toxic",
        "luring: closed -> closed",
        "luring: given up -> abandoned",
        "toxic: deadline passed -> overdue",
        "toxic: withdrawn -> withdrawn",
        "overdue: withdrawn -> withdrawn",
        "overdue: lost -> abandoned",
        "withdrawn: disposed -> withdrawn",
        "withdrawn: rebaited -> toxic",
        "withdrawn: relured -> verifying",
        "withdrawn: given up -> abandoned",
        "verifying: refreshed -> verifying",
        "verifying: disposed -> verifying",
        "verifying: swapped -> toxic",
        "verifying: closed -> closed",
        "verifying: given up -> abandoned",
    }
