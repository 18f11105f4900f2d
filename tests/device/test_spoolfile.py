"""The spool's file under power cuts and damage: never an error, never a tally lost without a word."""

import shutil
from pathlib import Path

import pytest
from spooled import names, opened, tally

from swapbell_device.spooling.spool import Spool
from swapbell_device.spooling.spoolfile import PAGE_BYTES
from swapbell_models.message import encode

# Trying every byte takes minutes; a run samples them. Primes, so as not to keep step with pages.
STEP_IN_PUT, STEP_IN_FILE, STEP_IN_LOG = 31, 67, 449
HEADER = range(100)


def spooled(folder: Path, puts: int = 20) -> Spool:
    folder.mkdir()
    spool = opened(folder / "spool.db")
    for seq in range(1, puts + 1):
        spool.put(tally(seq))
    return spool


def copied(source: Path, target: Path) -> Path:
    shutil.rmtree(target, ignore_errors=True)
    return shutil.copytree(source, target)


def flipped(path: Path, offset: int) -> None:
    data = bytearray(path.read_bytes())
    data[offset] ^= 0xFF
    path.write_bytes(data)


def held(folder: Path, said: list[str]) -> list[int]:
    with opened(folder / "spool.db", said) as spool:
        entries = spool.pending(1000)
        assert all(payload == encode(tally(seq)) for _, seq, payload in entries)
        assert spool.dropped == 0
        return [seq for _, seq in names(entries)]


def test_power_lost_at_any_byte_of_a_put_leaves_the_state_before_or_after_it(tmp_path: Path) -> None:
    spool = spooled(tmp_path / "live", puts=5)
    log = tmp_path / "live" / "spool.db-wal"
    before = log.stat().st_size
    spool.put(tally(6))
    live = tmp_path / "live"
    for length in range(before, log.stat().st_size + 1, STEP_IN_PUT):
        cut = copied(live, tmp_path / "cut")
        with (cut / "spool.db-wal").open("r+b") as out:
            out.truncate(length)
        assert held(cut, []) in ([1, 2, 3, 4, 5], [1, 2, 3, 4, 5, 6])
    assert held(copied(live, tmp_path / "cut"), []) == [1, 2, 3, 4, 5, 6]
    spool.close()


def test_power_lost_at_any_byte_of_the_log_leaves_a_state_that_once_was(tmp_path: Path) -> None:
    spool = spooled(tmp_path / "live")
    size = (tmp_path / "live" / "spool.db-wal").stat().st_size
    for length in range(0, size, STEP_IN_LOG):
        cut = copied(tmp_path / "live", tmp_path / "cut")
        with (cut / "spool.db-wal").open("r+b") as out:
            out.truncate(length)
        kept = held(cut, [])
        assert kept == list(range(1, len(kept) + 1))
    spool.close()


def test_power_lost_while_a_new_spool_begins_is_no_damage(tmp_path: Path) -> None:
    (tmp_path / "spool.db").touch()
    with opened(tmp_path / "spool.db") as spool:
        spool.put(tally(1))


@pytest.mark.parametrize("length", [99, 100, 1000, 1024, 3000, 5000])
def test_a_file_cut_short_is_set_aside_and_a_new_one_begins(tmp_path: Path, length: int) -> None:
    spooled(tmp_path / "live").close()
    path = tmp_path / "live" / "spool.db"
    with path.open("r+b") as out:
        out.truncate(length)
    said: list[str] = []
    kept = held(tmp_path / "live", said)
    assert len(kept) < 20
    assert (tmp_path / "live" / "spool.damaged-20260203T120000Z.db").stat().st_size == length
    assert "set aside as spool.damaged-20260203T120000Z.db" in said[0]


def test_any_byte_flipped_in_the_file_is_harmless_or_said(tmp_path: Path) -> None:
    spooled(tmp_path / "live").close()
    size = (tmp_path / "live" / "spool.db").stat().st_size
    for offset in (*HEADER, *range(100, size, STEP_IN_FILE)):
        damaged = copied(tmp_path / "live", tmp_path / "damaged")
        flipped(damaged / "spool.db", offset)
        said: list[str] = []
        kept = held(damaged, said)
        assert said or kept == list(range(1, 21)), f"byte {offset}"


def test_any_byte_flipped_in_the_log_is_said_and_a_copy_of_it_kept(tmp_path: Path) -> None:
    spool = spooled(tmp_path / "live")
    size = (tmp_path / "live" / "spool.db-wal").stat().st_size
    for offset in range(0, size, STEP_IN_LOG):
        damaged = copied(tmp_path / "live", tmp_path / "damaged")
        flipped(damaged / "spool.db-wal", offset)
        evidence = (damaged / "spool.db-wal").read_bytes()
        said: list[str] = []
        held(damaged, said)
        assert "cut off or damaged; a copy is kept as" in said[-1]
        assert evidence in [copy.read_bytes() for copy in damaged.glob("*.damaged-*")]
    spool.close()


def test_what_can_still_be_read_of_a_damaged_file_is_carried_over(tmp_path: Path) -> None:
    spooled(tmp_path / "live", puts=100).close()
    path = tmp_path / "live" / "spool.db"
    flipped(path, path.read_bytes().index(encode(tally(50))))
    assert held(tmp_path / "live", []) == [*range(1, 50), *range(51, 101)]


def test_a_page_lost_in_the_middle_costs_only_what_was_on_it(tmp_path: Path) -> None:
    spooled(tmp_path / "live", puts=100).close()
    path = tmp_path / "live" / "spool.db"
    data = bytearray(path.read_bytes())
    page = data.index(encode(tally(50))) // PAGE_BYTES * PAGE_BYTES
    data[page : page + PAGE_BYTES] = bytes(PAGE_BYTES)
    path.write_bytes(data)
    kept = held(tmp_path / "live", [])
    assert (kept[0], kept[-1]) == (1, 100)
    assert 90 <= len(kept) < 100


def test_a_file_that_is_no_spool_is_set_aside_untouched(tmp_path: Path) -> None:
    (tmp_path / "spool.db").write_text("a shopping list")
    said: list[str] = []
    assert held(tmp_path, said) == []
    assert (tmp_path / "spool.damaged-20260203T120000Z.db").read_text() == "a shopping list"
    assert len(said) == 1


def test_what_is_set_aside_at_the_same_moment_gets_a_name_of_its_own(tmp_path: Path) -> None:
    for _ in range(3):
        (tmp_path / "spool.db").write_text("a shopping list")
        held(tmp_path, [])
    assert len(list(tmp_path.glob("spool.damaged-*"))) == 3


def test_a_spool_that_an_earlier_version_wrote_is_read_and_goes_on(tmp_path: Path) -> None:
    shutil.copy(Path(__file__).parent / "spools" / "version_2.spool", tmp_path / "spool.db")
    with opened(tmp_path / "spool.db") as spool:
        assert spool.pending(10) == [
            ("b1", 5, encode(tally(5, "b1"))),
            *(("b2", seq, encode(tally(seq, "b2"))) for seq in range(1, 6)),
        ]
        assert spool.dropped == 2
        spool.put(tally(6, "b2"))
        spool.received("b2", 5)
    with opened(tmp_path / "spool.db") as after:
        assert names(after.pending(10)) == [("b1", 5), ("b2", 6)]
