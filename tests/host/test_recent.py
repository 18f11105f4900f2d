from datetime import datetime, timedelta

from orchard import NOON_AT, TALLY_S, tally

from swapbell_host.recent import AHEAD_KEPT_TALLIES, Recent
from swapbell_models.tally import Clock, Tally

LONG_AGO_AT = NOON_AT - timedelta(days=300)
FAR_AT = NOON_AT + timedelta(days=300)


def free(seq: int, **other: object) -> Tally:
    """Return a tally of a counter that believes that it is last spring."""
    return tally(seq, start_at=LONG_AGO_AT, clock=Clock.FREE, **other)


def recent(*tallies: Tally) -> Recent:
    memory = Recent()
    for each in tallies:
        memory.add(each)
    return memory


def seqs(memory: Recent) -> list[int]:
    return [each.seq for each in memory.since(LONG_AGO_AT, FAR_AT)]


def test_tallies_stand_in_time_order_whatever_their_arrival() -> None:
    assert seqs(recent(tally(2), tally(1), tally(4), tally(3))) == [1, 2, 3, 4]


def test_what_ended_before_is_left_out() -> None:
    memory = recent(tally(1), tally(2), tally(3))
    assert [each.seq for each in memory.since(NOON_AT + timedelta(seconds=2 * TALLY_S), FAR_AT)] == [3]


def test_the_latest_stays_however_old() -> None:
    memory = recent(tally(1), tally(2))
    assert [each.seq for each in memory.since(NOON_AT + timedelta(days=1), FAR_AT)] == [2]


def test_nobody_can_say_when_a_boot_without_a_clock_counted() -> None:
    assert seqs(recent(free(1), free(2))) == []


def test_free_tallies_find_their_place_when_their_boot_learns_the_time() -> None:
    placed = recent(free(1), free(2), tally(3)).since(NOON_AT, FAR_AT)
    assert [each.from_at for each in placed] == [NOON_AT + timedelta(seconds=n * TALLY_S) for n in range(3)]


def test_free_tallies_that_come_late_find_their_place_too() -> None:
    assert seqs(recent(tally(3), free(1), free(2))) == [1, 2, 3]


def test_one_boot_says_nothing_of_another() -> None:
    assert seqs(recent(free(1, boot="b0"), tally(2))) == [2]


def at(memory: Recent, now: datetime) -> list[int]:
    return [each.seq for each in memory.since(now - timedelta(hours=1), now)]


def ahead(seq: int, by: timedelta = timedelta(hours=1)) -> Tally:
    """Return a tally of a counter whose clock is ahead."""
    return tally(seq, start_at=NOON_AT + by)


SOON_AT = NOON_AT + timedelta(minutes=1)


def test_what_is_dated_ahead_is_not_there_yet() -> None:
    memory = recent(tally(1), ahead(2), ahead(3))
    assert at(memory, SOON_AT) == [1]
    assert memory.ahead_at() == ahead(3).to_at


def test_what_was_dated_ahead_is_there_when_its_time_has_come() -> None:
    memory = recent(ahead(2), ahead(1))
    assert at(memory, SOON_AT) == []
    assert at(memory, SOON_AT + timedelta(hours=1)) == [1, 2]
    assert memory.ahead_at() is None


def test_what_is_dated_ahead_does_not_push_the_latest_out() -> None:
    memory = recent(tally(1), ahead(2, timedelta(days=30)))
    assert at(memory, NOON_AT + timedelta(days=1)) == [1]


def test_a_clock_that_is_set_back_makes_the_present_the_future_and_nothing_is_lost() -> None:
    memory = recent(tally(1), tally(2))
    assert at(memory, SOON_AT) == [1, 2]
    assert at(memory, NOON_AT - timedelta(hours=1)) == []
    assert at(memory, SOON_AT) == [1, 2]


def test_of_what_is_dated_ahead_the_last_that_came_stays_in_memory() -> None:
    memory = recent()
    for seq in range(1, AHEAD_KEPT_TALLIES + 11):
        memory.add(ahead(seq))
        at(memory, SOON_AT)
    assert len(memory.since(LONG_AGO_AT, FAR_AT)) == AHEAD_KEPT_TALLIES
