from datetime import timedelta

from orchard import NOON_AT, TALLY_S, tally

from swapbell_host.recent import Recent
from swapbell_models.tally import Clock, Tally

LONG_AGO_AT = NOON_AT - timedelta(days=300)


def free(seq: int, **other: object) -> Tally:
    """Return a tally of a counter that believes that it is last spring."""
    return tally(seq, start_at=LONG_AGO_AT, clock=Clock.FREE, **other)


def recent(*tallies: Tally) -> Recent:
    memory = Recent()
    for each in tallies:
        memory.add(each)
    return memory


def seqs(memory: Recent) -> list[int]:
    return [each.seq for each in memory.since(LONG_AGO_AT)]


def test_tallies_stand_in_time_order_whatever_their_arrival() -> None:
    assert seqs(recent(tally(2), tally(1), tally(4), tally(3))) == [1, 2, 3, 4]


def test_what_ended_before_is_left_out() -> None:
    memory = recent(tally(1), tally(2), tally(3))
    assert [each.seq for each in memory.since(NOON_AT + timedelta(seconds=2 * TALLY_S))] == [3]


def test_the_latest_stays_however_old() -> None:
    memory = recent(tally(1), tally(2))
    assert [each.seq for each in memory.since(NOON_AT + timedelta(days=1))] == [2]


def test_nobody_can_say_when_a_boot_without_a_clock_counted() -> None:
    assert seqs(recent(free(1), free(2))) == []


def test_free_tallies_find_their_place_when_their_boot_learns_the_time() -> None:
    placed = recent(free(1), free(2), tally(3)).since(NOON_AT)
    assert [each.from_at for each in placed] == [NOON_AT + timedelta(seconds=n * TALLY_S) for n in range(3)]


def test_free_tallies_that_come_late_find_their_place_too() -> None:
    assert seqs(recent(tally(3), free(1), free(2))) == [1, 2, 3]


def test_one_boot_says_nothing_of_another() -> None:
    assert seqs(recent(free(1, boot="b0"), tally(2))) == [2]
