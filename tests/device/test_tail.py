"""The spool's tail in memory: a kill costs nothing, a power cut what the rule says, and the disk is left in peace."""

import shutil
import threading
from pathlib import Path
from unittest.mock import patch

import pytest
from spooled import TALLY_S, fill, names, opened, tally

from swapbell_device.spooling.spool import BEHIND_S, NOTED_MAX, Spool
from swapbell_device.spooling.spoolrows import Rows
from swapbell_models.message import encode
from swapbell_models.tally import Tally

BEHIND = round(BEHIND_S / TALLY_S)


@pytest.fixture
def memory(tmp_path: Path) -> Path:
    (tmp_path / "memory").mkdir()
    return tmp_path / "memory"


def killed(spool: Spool, disk: Path, memory: Path, folder: Path) -> tuple[Path, Path]:
    """Return copies of disk and memory as a counter that is killed now leaves them."""
    spool.settle()
    return shutil.copytree(disk, folder / "disk", dirs_exist_ok=True), shutil.copytree(memory, folder / "memory too")


@pytest.mark.parametrize("puts", [1, BEHIND, BEHIND + 1, 3 * BEHIND + 2])
def test_a_kill_costs_no_tally_that_was_put(tmp_path: Path, memory: Path, puts: int) -> None:
    (tmp_path / "card").mkdir()
    with opened(tmp_path / "card" / "spool.db", memory=memory) as spool:
        for seq in range(1, puts + 1):
            spool.put(tally(seq))
        disk, left = killed(spool, tmp_path / "card", memory, tmp_path / "after")
    with opened(disk / "spool.db", memory=left) as after:
        assert names(after.pending(1000)) == [("b1", seq) for seq in range(1, puts + 1)]


def test_a_power_cut_costs_five_minutes_at_most(tmp_path: Path, memory: Path) -> None:
    (tmp_path / "card").mkdir()
    (tmp_path / "new").mkdir()
    with opened(tmp_path / "card" / "spool.db", memory=memory) as spool:
        for seq in range(1, 101):
            spool.put(tally(seq))
            disk, _ = killed(spool, tmp_path / "card", memory, tmp_path / f"after {seq}")
            with opened(disk / "spool.db", memory=tmp_path / "new") as after:
                assert (seq - len(after)) * TALLY_S <= BEHIND_S


def test_what_is_receipted_in_time_never_goes_to_the_disk(tmp_path: Path, memory: Path) -> None:
    with opened(tmp_path / "spool.db", memory=memory) as spool:
        before = (tmp_path / "spool.db-wal").stat()
        for seq in range(1, 1001):
            spool.put(tally(seq))
            spool.received("b1", seq)
        spool.settle()
        after = (tmp_path / "spool.db-wal").stat()
    assert (after.st_size, after.st_mtime_ns) == (before.st_size, before.st_mtime_ns)


def test_what_is_receipted_does_not_fill_the_memory(tmp_path: Path, memory: Path) -> None:
    longest = 0
    with opened(tmp_path / "spool.db", memory=memory) as spool:
        for seq in range(1, 5 * NOTED_MAX):
            spool.put(tally(seq))
            spool.received("b1", seq)
            longest = max(longest, len((memory / "spool.db.tail").read_bytes().splitlines()))
    assert longest <= NOTED_MAX


def test_without_memory_a_put_is_on_the_disk_when_it_returns(tmp_path: Path) -> None:
    (tmp_path / "card").mkdir()
    with opened(tmp_path / "card" / "spool.db") as spool:
        spool.put(tally(1))
        with opened(shutil.copytree(tmp_path / "card", tmp_path / "cut") / "spool.db") as after:
            assert names(after.pending(10)) == [("b1", 1)]


def test_receipts_and_order_hold_across_file_and_tail(tmp_path: Path, memory: Path) -> None:
    with opened(tmp_path / "spool.db", memory=memory) as spool:
        for seq in range(1, BEHIND + 4):
            spool.put(tally(seq))
            spool.settle()
        assert (spool.stored, spool.unstored) == (BEHIND + 1, 2)
        spool.received("b1", BEHIND + 2)
        assert names(spool.pending(10)) == names(spool.newest(10)) == [("b1", BEHIND + 3)]


def test_a_good_end_leaves_everything_on_the_disk(tmp_path: Path, memory: Path) -> None:
    with opened(tmp_path / "spool.db", memory=memory) as spool:
        spool.put(tally(1))
    shutil.rmtree(memory)
    with opened(tmp_path / "spool.db") as after:
        assert names(after.pending(10)) == [("b1", 1)]


def test_a_line_that_a_kill_cut_off_is_passed_over_with_a_word(tmp_path: Path, memory: Path) -> None:
    with opened(tmp_path / "spool.db", memory=memory) as spool:
        spool.put(tally(1))
        spool.put(tally(2))
        tail = memory / "spool.db.tail"
        torn = tail.read_bytes()[:-20]
    tail.write_bytes(torn)
    (tmp_path / "other").mkdir()
    said: list[str] = []
    with opened(tmp_path / "other" / "spool.db", said, memory=memory) as after:
        assert names(after.pending(10)) == [("b1", 1)]
        after.settle()
    assert len(said) == 1
    assert "a line that is no tally is passed over" in said[0]


def test_a_torn_line_spoils_none_that_follows(tmp_path: Path, memory: Path) -> None:
    (memory / "spool.db.tail").write_bytes(encode(tally(1))[:-20])
    (tmp_path / "card").mkdir()
    with opened(tmp_path / "card" / "spool.db", [], memory=memory) as spool:
        spool.put(tally(2))
        disk, left = killed(spool, tmp_path / "card", memory, tmp_path / "after")
    with opened(disk / "spool.db", memory=left) as after:
        assert names(after.pending(10)) == [("b1", 2)]


@pytest.mark.part("tmpfs")
def test_a_disk_that_has_room_again_is_told_with_the_next_put(small_disk: Path, memory: Path) -> None:
    with opened(small_disk / "spool.db", [], memory=memory) as spool:
        ballast = fill(small_disk)
        for seq in range(1, 2 * BEHIND):
            spool.put(tally(seq))
            spool.settle()
        assert spool.trouble is not None
        ballast.unlink()
        spool.received("b1", 2 * BEHIND - 1)
        spool.put(tally(2 * BEHIND))
        spool.settle()
        assert (spool.trouble, spool.unstored) == (None, 0)


@pytest.mark.part("tmpfs")
def test_what_a_full_disk_refuses_waits_in_memory_for_the_next_start(small_disk: Path, memory: Path) -> None:
    said: list[str] = []
    with opened(small_disk / "spool.db", said, memory=memory) as spool:
        ballast = fill(small_disk)
        for seq in range(1, 60):
            spool.put(tally(seq))
        spool.retry()
        unstored = spool.unstored
    assert said[-1].startswith(f"{unstored} tallies wait for the next start in memory only: spool")
    ballast.unlink()
    with opened(small_disk / "spool.db", [], memory=memory) as after:
        assert names(after.pending(100)) == [("b1", seq) for seq in range(1, 60)]


@pytest.mark.part("tmpfs")
def test_a_memory_that_is_full_is_told_once_and_puts_go_to_the_disk(tmp_path: Path, small_disk: Path) -> None:
    said: list[str] = []
    with opened(tmp_path / "spool.db", said, memory=small_disk) as spool:
        fill(small_disk)
        for seq in range(1, 40):
            spool.put(tally(seq))
        assert spool.unstored == 0
    assert len(said) == 1
    assert "No space left on device" in said[0]


def test_a_slow_disk_holds_up_no_put(tmp_path: Path, memory: Path) -> None:
    really, writing, go_on = Rows.insert, threading.Event(), threading.Event()

    def slow(rows: Rows, told: Tally) -> None:
        writing.set()
        assert go_on.wait(10.0), "a put waited for the disk"
        really(rows, told)

    with opened(tmp_path / "spool.db", memory=memory) as spool, patch.object(Rows, "insert", slow):
        for seq in range(1, BEHIND + 2):
            spool.put(tally(seq))
        assert writing.wait(10.0)
        for seq in range(BEHIND + 2, BEHIND + 20):
            spool.put(tally(seq))
        go_on.set()
        spool.settle()
        assert names(spool.pending(1000)) == [("b1", seq) for seq in range(1, BEHIND + 20)]
