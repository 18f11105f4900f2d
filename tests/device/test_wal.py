"""The write-ahead log: a whole one is told from one that was cut or damaged."""

import sqlite3
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_device.spooling.wal import intact


def a_log(folder: Path, rows: int = 12) -> bytes:
    path = folder / "any.db"
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA page_size = 512")
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("CREATE TABLE row (text)")
    for number in range(rows):
        db.execute("INSERT INTO row VALUES (?)", (f"row {number}",))
    log = path.with_name("any.db-wal").read_bytes()
    db.close()
    return log


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return a_log(tmp_path_factory.mktemp("log"))


def test_a_log_as_sqlite_writes_it_is_intact(log: bytes) -> None:
    assert intact(log)


def test_an_empty_log_is_intact() -> None:
    assert intact(b"")


def test_a_log_cut_at_the_end_of_a_frame_is_intact(log: bytes) -> None:
    assert intact(log[: 32 + 3 * (24 + 512)])


@given(data=st.data())
def test_a_log_cut_anywhere_else_is_not(log: bytes, data: st.DataObject) -> None:
    length = data.draw(st.integers(1, len(log) - 1))
    assert intact(log[:length]) == (length >= 32 and (length - 32) % (24 + 512) == 0)


@given(data=st.data())
def test_a_log_with_any_byte_changed_is_not(log: bytes, data: st.DataObject) -> None:
    damaged = bytearray(log)
    damaged[data.draw(st.integers(0, len(log) - 1))] ^= data.draw(st.integers(1, 255))
    assert not intact(bytes(damaged))
