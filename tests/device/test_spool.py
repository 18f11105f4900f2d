"""The spool: keeps what was put until it is receipted, within its bounds, whatever the disk does."""

import shutil
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from unittest.mock import patch

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from spooled import TALLY_S, fill, names, opened, tally

from swapbell_device.spooling import spool as spool_module
from swapbell_device.spooling import spoolfile
from swapbell_device.spooling.holdings import GONE_MAX
from swapbell_device.spooling.spool import DAY_S, Spool
from swapbell_models.fault import Breakdown, Mistake
from swapbell_models.message import Held, encode


@pytest.fixture
def spool(tmp_path: Path) -> Iterator[Spool]:
    with opened(tmp_path / "spool.db") as held:
        yield held


def test_a_new_spool_is_empty(spool: Spool) -> None:
    assert (len(spool), spool.pending(10), spool.oldest(), spool.dropped) == (0, [], (), 0)


def test_what_was_put_is_pending_as_it_goes_on_the_wire(spool: Spool) -> None:
    spool.put(tally(1))
    assert spool.pending(10) == [("b1", 1, encode(tally(1)))]


def test_what_was_put_is_there_after_a_restart(tmp_path: Path) -> None:
    with opened(tmp_path / "spool.db") as before:
        before.put(tally(1))
    with opened(tmp_path / "spool.db") as after:
        assert names(after.pending(10)) == [("b1", 1)]


def test_the_oldest_come_first_boot_by_boot(spool: Spool) -> None:
    for boot, seq in [("b9", 1), ("b9", 2), ("b1", 1)]:
        spool.put(tally(seq, boot))
    assert names(spool.pending(2)) == [("b9", 1), ("b9", 2)]


def test_the_newest_may_be_asked_for_too(spool: Spool) -> None:
    for boot, seq in [("b9", 1), ("b9", 2), ("b1", 1), ("b1", 2)]:
        spool.put(tally(seq, boot))
    spool.received("b1", 1)
    assert names(spool.newest(2)) == [("b9", 2), ("b1", 2)]


def test_putting_a_tally_twice_keeps_it_once(spool: Spool) -> None:
    spool.put(tally(1))
    spool.put(tally(1))
    assert len(spool) == 1


def test_a_tally_put_twice_takes_the_room_of_one(tmp_path: Path) -> None:
    with opened(tmp_path / "spool.db", keep_days=3 * TALLY_S / DAY_S) as small:
        for seq in [1, 2, 2, 2, 2, 3]:
            small.put(tally(seq))
        assert small.dropped == 0


def test_a_receipt_lets_go_of_everything_up_to_it(spool: Spool) -> None:
    for seq in range(1, 6):
        spool.put(tally(seq))
    spool.received("b1", 3)
    assert names(spool.pending(10)) == [("b1", 4), ("b1", 5)]
    assert len(spool) == 2


def test_a_receipt_holds_across_a_restart(tmp_path: Path) -> None:
    with opened(tmp_path / "spool.db") as before:
        before.put(tally(1))
        before.put(tally(2))
        before.received("b1", 1)
    with opened(tmp_path / "spool.db") as after:
        assert names(after.pending(10)) == [("b1", 2)]


def test_a_receipt_is_for_its_boot_only(spool: Spool) -> None:
    spool.put(tally(1, "b1"))
    spool.put(tally(1, "b2"))
    spool.received("b2", 1)
    assert names(spool.pending(10)) == [("b1", 1)]


@pytest.mark.parametrize("through", [0, 2**40])
def test_a_strange_receipt_does_no_harm_to_other_boots(spool: Spool, through: int) -> None:
    spool.put(tally(1, "b1"))
    spool.put(tally(1, "b2"))
    spool.received("b1", through)
    spool.received("unheard-of", through)
    assert ("b2", 1) in names(spool.pending(10))


def test_a_receipt_that_goes_backwards_brings_nothing_back(spool: Spool) -> None:
    for seq in range(1, 4):
        spool.put(tally(seq))
    spool.received("b1", 2)
    spool.received("b1", 1)
    assert names(spool.pending(10)) == [("b1", 3)]


def test_a_tally_that_is_put_again_after_its_receipt_goes_with_the_next_receipt(tmp_path: Path) -> None:
    with opened(tmp_path / "spool.db") as before:
        for seq in (1, 2):
            before.put(tally(seq))
        before.received("b1", 1)
        for seq in (3, 1):
            before.put(tally(seq))
        before.received("b1", 1)
    with opened(tmp_path / "spool.db") as after:
        assert names(after.pending(10)) == [("b1", 2), ("b1", 3)]


def test_many_receipts_without_a_put_are_written_down(spool: Spool, tmp_path: Path) -> None:
    for seq in range(1, 101):
        spool.put(tally(seq))
    for seq in range(1, 101):
        spool.received("b1", seq)
    assert (len(spool), spool.pending(10), spool.oldest()) == (0, [], ())
    with opened(Path(shutil.copytree(tmp_path, tmp_path / "after a power cut")) / "spool.db") as after:
        assert len(after) < 100


def test_the_oldest_of_every_boot_is_named(spool: Spool) -> None:
    for boot, seq in [("b1", 7), ("b1", 8), ("b2", 1), ("b2", 2)]:
        spool.put(tally(seq, boot))
    spool.received("b2", 1)
    assert spool.oldest() == (Held(boot="b1", seq=7, last=8), Held(boot="b2", seq=2, last=2))


def test_a_boot_that_was_dropped_whole_is_told_until_it_is_receipted(tmp_path: Path) -> None:
    with opened(tmp_path / "spool.db", keep_days=2 * TALLY_S / DAY_S) as before:
        for boot, seq in [("b1", 1), ("b1", 2), ("b1", 3), ("b2", 1), ("b2", 2)]:
            before.put(tally(seq, boot))
    with opened(tmp_path / "spool.db") as after:
        assert after.oldest() == (Held(boot="b1", seq=4, last=3), Held(boot="b2", seq=1, last=2))
        after.received("b1", 2)
        assert after.oldest()[0] == Held(boot="b1", seq=4, last=3)
        after.received("b1", 3)
        assert after.oldest() == (Held(boot="b2", seq=1, last=2),)
    with opened(tmp_path / "spool.db") as later:
        assert later.oldest() == (Held(boot="b2", seq=1, last=2),)


def test_a_boot_whose_tail_was_dropped_is_told_though_its_head_is_receipted(tmp_path: Path) -> None:
    with opened(tmp_path / "spool.db", keep_days=TALLY_S / DAY_S) as small:
        small.put(tally(1, "b1"))
        small.received("b1", 1)
        small.put(tally(2, "b1"))
        small.put(tally(1, "b2"))
        assert small.oldest() == (Held(boot="b1", seq=3, last=2), Held(boot="b2", seq=1, last=1))


def test_a_receipt_beyond_what_was_put_does_not_hide_what_is_dropped_later(tmp_path: Path) -> None:
    with opened(tmp_path / "spool.db", keep_days=TALLY_S / DAY_S) as small:
        small.put(tally(1, "b1"))
        small.received("b1", 10**12)
        for boot, seq in [("b1", 2), ("b1", 3), ("b2", 1)]:
            small.put(tally(seq, boot))
        assert small.oldest()[0] == Held(boot="b1", seq=4, last=3)


def test_only_so_many_boots_that_are_gone_are_told(tmp_path: Path) -> None:
    with opened(tmp_path / "spool.db", keep_days=TALLY_S / DAY_S) as small:
        for number in range(1, GONE_MAX + 10):
            small.put(tally(1, f"b{number}"))
        told = [held.boot for held in small.oldest()]
    assert told == [f"b{number}" for number in range(9, GONE_MAX + 10)]


def test_more_days_than_are_kept_push_out_the_oldest_and_are_counted(tmp_path: Path) -> None:
    with opened(tmp_path / "spool.db", keep_days=3 * TALLY_S / DAY_S) as small:
        for seq in range(1, 6):
            small.put(tally(seq))
        assert names(small.pending(10)) == [("b1", 3), ("b1", 4), ("b1", 5)]
        assert small.dropped == 2
        assert small.oldest() == (Held(boot="b1", seq=3, last=5),)


def test_more_bytes_than_are_kept_push_out_the_oldest_and_are_counted(tmp_path: Path) -> None:
    with opened(tmp_path / "spool.db", keep_bytes=40_000) as small:
        for seq in range(1, 301):
            small.put(tally(seq))
        held = [seq for _, seq in names(small.pending(1000))]
        assert held == list(range(301 - len(held), 301))
        assert small.dropped == 300 - len(held)
        assert 100 < len(held) < 200


def test_the_newest_tally_is_never_dropped(tmp_path: Path) -> None:
    with opened(tmp_path / "spool.db", keep_bytes=1) as tiny:
        tiny.put(tally(1))
        tiny.put(tally(2))
        assert names(tiny.pending(10)) == [("b1", 2)]


def test_receipted_tallies_take_no_room_from_others(tmp_path: Path) -> None:
    with opened(tmp_path / "spool.db", keep_days=3 * TALLY_S / DAY_S) as small:
        for seq in range(1, 20):
            small.put(tally(seq))
            small.received("b1", seq)
        assert small.dropped == 0


def test_the_count_of_dropped_tallies_outlives_a_restart(tmp_path: Path) -> None:
    with opened(tmp_path / "spool.db", keep_days=TALLY_S / DAY_S) as before:
        for seq in range(1, 4):
            before.put(tally(seq))
    with opened(tmp_path / "spool.db") as after:
        assert after.dropped == 2


def test_two_threads_may_put_and_take_at_once(spool: Spool) -> None:
    def take_all() -> list[int]:
        taken: list[int] = []
        while len(taken) < 200:
            for entry in spool.pending(7):
                taken.append(entry.seq)
                spool.received(entry.boot, entry.seq)
        return taken

    with ThreadPoolExecutor() as threads:
        taken = threads.submit(take_all)
        for seq in range(1, 201):
            spool.put(tally(seq))
        assert taken.result(timeout=30) == list(range(1, 201))


@patch.object(spoolfile, "LOCK_PATIENCE_S", 0.1)
def test_a_second_process_or_spool_on_the_same_file_is_refused(tmp_path: Path) -> None:
    with opened(tmp_path / "spool.db"), pytest.raises(Breakdown, match=r"spool\.db is in use by another process"):
        opened(tmp_path / "spool.db")


def test_a_missing_folder_is_the_callers_mistake(tmp_path: Path) -> None:
    with pytest.raises(Mistake, match="there is no folder"):
        opened(tmp_path / "nowhere" / "spool.db")


def test_a_folder_in_the_place_of_the_file_is_named(tmp_path: Path) -> None:
    (tmp_path / "spool.db").mkdir()
    with pytest.raises(Breakdown, match=r"spool\.db cannot be opened"):
        opened(tmp_path / "spool.db")


@pytest.mark.part("tmpfs")
def test_a_full_disk_keeps_tallies_in_memory_and_says_so_once(small_disk: Path) -> None:
    said: list[str] = []
    with opened(small_disk / "spool.db", said) as held:
        held.put(tally(1))
        ballast = fill(small_disk)
        for seq in range(2, 60):
            held.put(tally(seq))
        assert [seq for _, seq in names(held.pending(100))] == list(range(1, 60))
        assert [seq for _, seq in names(held.newest(5))] == list(range(55, 60))
        assert held.oldest() == (Held(boot="b1", seq=1, last=59),)
        assert len(held) == 59
        assert held.trouble is not None
        ballast.unlink()
    assert "has no room; free some space on its disk" in said[0]
    assert "takes tallies again" in said[1]
    assert len(said) == 2


@pytest.mark.part("tmpfs")
def test_a_full_disk_tells_what_is_in_the_file_from_what_is_not(small_disk: Path) -> None:
    held = opened(small_disk / "spool.db", [])
    fill(small_disk)
    for seq in range(1, 60):
        held.put(tally(seq))
    stored, unstored = held.stored, held.unstored
    assert unstored > 0
    assert stored + unstored == 59
    with pytest.raises(Breakdown, match=f"^{unstored} tallies that waited in memory are lost: spool {small_disk}"):
        held.close()
    (small_disk / "ballast").unlink()
    with opened(small_disk / "spool.db", []) as after:
        assert len(after) == stored


@pytest.mark.part("tmpfs")
def test_on_a_full_disk_receipts_still_count(small_disk: Path) -> None:
    with opened(small_disk / "spool.db", []) as held:
        for seq in range(1, 10):
            held.put(tally(seq))
        ballast = fill(small_disk)
        for seq in range(10, 60):
            held.put(tally(seq))
        held.received("b1", 50)
        assert [seq for _, seq in names(held.pending(100))] == list(range(51, 60))
        assert held.oldest() == (Held(boot="b1", seq=51, last=59),)
        ballast.unlink()


@pytest.mark.part("tmpfs")
def test_what_waited_in_memory_is_stored_once_there_is_room(small_disk: Path) -> None:
    said: list[str] = []
    with opened(small_disk / "spool.db", said) as held:
        ballast = fill(small_disk)
        for seq in range(1, 60):
            held.put(tally(seq))
        ballast.unlink()
        held.put(tally(60))
        assert held.trouble is None
    assert "takes tallies again" in said[-1]
    with opened(small_disk / "spool.db") as after:
        assert [seq for _, seq in names(after.pending(100))] == list(range(1, 61))


@pytest.mark.part("tmpfs")
def test_memory_is_bounded_and_what_it_drops_is_counted_for_good(small_disk: Path) -> None:
    with patch.object(spool_module, "WAITING_MAX", 10), opened(small_disk / "spool.db", []) as held:
        ballast = fill(small_disk)
        for seq in range(1, 61):
            held.put(tally(seq))
        dropped = held.dropped
        kept = [seq for _, seq in names(held.pending(100))]
        assert len(kept) + dropped == 60
        assert kept[-10:] == list(range(51, 61))
        assert dropped > 0
        ballast.unlink()
    with opened(small_disk / "spool.db") as after:
        assert after.dropped == dropped


@pytest.mark.part("tmpfs")
def test_what_memory_drops_is_counted_though_all_the_rest_is_receipted(small_disk: Path) -> None:
    with patch.object(spool_module, "WAITING_MAX", 10), opened(small_disk / "spool.db", []) as held:
        ballast = fill(small_disk)
        for seq in range(1, 61):
            held.put(tally(seq))
        dropped = held.dropped
        held.received("b1", 60)
        ballast.unlink()
    with opened(small_disk / "spool.db") as after:
        assert after.dropped == dropped > 0


@pytest.mark.part("tmpfs")
def test_a_disk_without_room_for_a_new_spool_is_named(small_disk: Path) -> None:
    fill(small_disk)
    with pytest.raises(Breakdown, match="has no room"):
        opened(small_disk / "spool.db")


puts = st.tuples(st.just("put"), st.sampled_from(["b1", "b2", "b3"]), st.integers(0, 30))
receipts = st.tuples(st.just("received"), st.sampled_from(["b1", "b2", "b3"]), st.integers(0, 30))


@settings(max_examples=30)
@given(st.lists(puts | receipts | st.tuples(st.just("restart"), st.just(""), st.just(0)), max_size=40))
def test_pending_is_what_was_put_less_what_was_received(
    tmp_path_factory: pytest.TempPathFactory, steps: list[tuple[str, str, int]]
) -> None:
    path = tmp_path_factory.mktemp("spool") / "spool.db"
    held, through, expected = opened(path), dict[str, int](), set[tuple[str, int]]()
    for step, boot, seq in steps:
        if step == "put" and seq > through.get(boot, -1):
            held.put(tally(seq, boot))
            expected.add((boot, seq))
        elif step == "received":
            held.received(boot, seq)
            through[boot] = max(seq, through.get(boot, -1))
            expected = {(b, s) for b, s in expected if b != boot or s > seq}
        elif step == "restart":
            held.close()
            held = opened(path)
    assert sorted(names(held.pending(1000))) == sorted(expected)
    assert len(held) == len(expected)
    assert {h.boot: h.seq for h in held.oldest()} == {b: min(s for c, s in expected if c == b) for b, _ in expected}
    assert all(h.last == max(s for c, s in expected if c == h.boot) for h in held.oldest())
    held.close()
