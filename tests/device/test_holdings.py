"""What the host is told of every boot: what is held, and what will never come."""

from spooled import tally

from swapbell_device.spooling.holdings import BootRow, holdings
from swapbell_models.message import Held


def test_a_boot_is_told_by_its_oldest_and_its_last() -> None:
    assert holdings([BootRow("b1", 3, 7, 2)], []) == (Held(boot="b1", seq=3, last=7),)


def test_nothing_left_is_told_by_the_seq_after_the_last() -> None:
    assert holdings([BootRow("b1", None, 7, 2)], []) == (Held(boot="b1", seq=8, last=7),)


def test_a_boot_that_is_receipted_whole_is_not_told() -> None:
    assert holdings([BootRow("b1", None, 7, 7)], []) == ()


def test_what_waits_in_memory_is_the_last() -> None:
    assert holdings([BootRow("b1", 3, 7, 2)], [tally(8), tally(9)]) == (Held(boot="b1", seq=3, last=9),)


def test_where_memory_is_all_that_is_left_its_oldest_is_told() -> None:
    told = (Held(boot="b1", seq=9, last=10),)
    assert holdings([BootRow("b1", None, 7, 2)], [tally(9), tally(10)]) == told
    assert holdings([], [tally(9), tally(10)]) == told
