from random import Random

from hypothesis import given
from hypothesis import strategies as st

from swapbell_host.books.sequence import Gap, Hole, Sequence, holes

SEQS = st.lists(st.integers(1, 40), max_size=40)


def came(*seqs: int) -> Sequence:
    sequence = Sequence()
    for seq in seqs:
        sequence.add(seq)
    return sequence


def test_nothing_is_through_before_the_first() -> None:
    assert came().through == 0


def test_through_waits_for_what_is_missing() -> None:
    assert came(1, 2, 4, 5).through == 2


def test_a_late_one_closes_its_gap() -> None:
    assert came(1, 2, 4, 5, 3).through == 5


def test_what_the_spool_lost_is_not_waited_for() -> None:
    sequence = came(7, 8)
    sequence.forget_below(7)
    assert sequence.through == 8


def test_a_spool_that_lost_all_is_not_waited_for() -> None:
    sequence = came(1)
    sequence.forget_below(10)
    assert sequence.through == 9


def test_a_seq_far_ahead_costs_one_gap() -> None:
    assert came(1, 2**31 - 1).gaps == [Gap(2, 2**31 - 2)]


@given(SEQS, st.integers(0, 45))
def test_through_is_the_largest_without_a_gap_below(seqs: list[int], oldest: int) -> None:
    sequence = came(*seqs)
    sequence.forget_below(oldest)
    settled = set(seqs) | set(range(1, oldest))
    assert sequence.through == next(n - 1 for n in range(1, 50) if n not in settled)


@given(SEQS)
def test_it_holds_what_came_and_nothing_else(seqs: list[int]) -> None:
    sequence = came(*seqs)
    assert {seq for seq in range(1, 50) if seq in sequence} == set(seqs)


@given(SEQS, st.randoms())
def test_the_order_of_arrival_does_not_matter(seqs: list[int], chance: Random) -> None:
    shuffled = seqs.copy()
    chance.shuffle(shuffled)
    assert came(*shuffled).gaps == came(*seqs).gaps


@given(SEQS, st.integers(0, 45))
def test_holes_are_what_neither_came_nor_is_to_be_expected(seqs: list[int], oldest: int) -> None:
    found = holes("b1", came(*seqs), oldest)
    missing = set(range(1, max([*seqs, oldest - 1]) + 1)) - set(seqs)
    assert {(seq, hole.lost) for hole in found for seq in range(hole.first, hole.last + 1)} == {
        (seq, seq < oldest) for seq in missing
    }


def test_a_hole_is_cut_where_the_spool_begins() -> None:
    assert holes("b1", came(1, 9), 5) == [Hole("b1", 2, 4, True), Hole("b1", 5, 8, False)]


def test_what_a_boot_reached_and_never_sent_is_a_hole() -> None:
    assert holes("b1", came(1), 3, 4) == [Hole("b1", 2, 2, True), Hole("b1", 3, 4, False)]
