"""The store of evidence: whole items only, the oldest dropped first, what is not ours left alone."""

import os
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_device.evidence import store as store_module
from swapbell_device.evidence.store import Store
from swapbell_models.evidence import ABOUT, EVENTS, Item, Label, Passing
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Direction

NOON_AT = datetime(2026, 2, 3, 12, 0, tzinfo=UTC)
KEEP_BYTES = 4000


def strip(order: int) -> str:
    return Label(order, "north", "b1", 1.0, NOON_AT, Passing(order, Direction.IN, SizeClass.WASP, 13.0)).name


def clip(order: int) -> str:
    return Label(order, "north", "b1", 60.0, NOON_AT).name


def names(store: Store) -> list[str]:
    return [item.name for item in store.items()]


@pytest.fixture
def said() -> list[str]:
    return []


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "evidence"


@pytest.fixture
def store(folder: Path, said: list[str]) -> Store:
    return opened(folder, said)


def opened(folder: Path, said: list[str], keep_bytes: int = KEEP_BYTES) -> Store:
    return Store(folder, keep_bytes, said.append, free_bytes=0)


def keep_clip(store: Store, order: int, video_bytes: int = 100) -> None:
    part = store.part(clip(order))
    with store.trying(part):
        part.mkdir()
        (part / "clip.mp4").write_bytes(b"v" * video_bytes)
        (part / ABOUT).write_text("{}")
        (part / EVENTS).write_text("")
        store.finish(part, clip(order))


def test_what_is_kept_is_found_again_in_the_order_of_making(store: Store, folder: Path, said: list[str]) -> None:
    store.keep(strip(1), b"abc")
    keep_clip(store, 2)
    again = opened(folder, said)
    assert [*again.items()] == [*store.items()]
    assert again.next_order() == 3
    assert again.read(strip(1), f"{strip(1)}.jpg", 1, 9) == (b"bc", 3)
    assert again.read(clip(2), ABOUT, 0, 9) == (b"{}", 2)


def test_the_oldest_make_room_for_what_is_new(store: Store, folder: Path) -> None:
    for order in range(1, 8):
        store.keep(strip(order), b"x" * 900)
    assert names(store) == [strip(order) for order in (4, 5, 6, 7)]
    assert sorted(path.name for path in folder.iterdir()) == [f"{strip(order)}.jpg" for order in (4, 5, 6, 7)]


@given(st.lists(st.integers(1, KEEP_BYTES // 4), max_size=30))
def test_the_store_never_holds_more_than_it_may(tmp_path_factory: pytest.TempPathFactory, sizes: list[int]) -> None:
    store = opened(tmp_path_factory.mktemp("store"), [])
    for order, size in enumerate(sizes, start=1):
        store.keep(strip(order), b"x" * size)
        on_disk = sum(path.stat().st_size for path in store.folder.iterdir())
        assert on_disk == sum(item.size for item in store.items()) <= KEEP_BYTES
    assert names(store) == [strip(order) for order in range(1, len(sizes) + 1)][-len(names(store)) :]


def test_the_number_of_items_is_bounded_as_memory_is(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(store_module, "ITEMS_MAX", 3)
    for order in range(1, 6):
        store.keep(strip(order), b"x")
    assert names(store) == [strip(order) for order in (3, 4, 5)]


def test_an_item_that_would_push_out_most_of_the_rest_is_not_kept(store: Store, said: list[str]) -> None:
    store.keep(strip(1), b"x")
    keep_clip(store, 2, KEEP_BYTES // 2)
    assert names(store) == [strip(1)]
    assert [line.partition(": ")[2] for line in said] == ["it is longer than 25% of keep_bytes; counting goes on"]


def test_half_made_items_are_swept_at_the_start(folder: Path, said: list[str]) -> None:
    folder.mkdir()
    half = folder / f".{clip(1)}.part"
    half.mkdir()
    (half / "clip.mp4").write_bytes(b"half")
    (folder / f".{strip(2)}.jpg.part").write_bytes(b"half")
    (folder / f"{strip(3)}.jpg").write_bytes(b"")  # as a power cut leaves it
    (folder / clip(4)).mkdir()
    (folder / clip(4) / "clip.mp4").write_bytes(b"a film without its papers")
    assert [*opened(folder, said).items()] == []
    assert list(folder.iterdir()) == []


def test_what_somebody_else_put_there_is_left_alone(store: Store, folder: Path, said: list[str]) -> None:
    keep_clip(store, 1)
    half, old = folder / f".{clip(9)}.part", folder / "old"
    for each in (half, old):
        each.mkdir()
    foreign = [folder / "notes.txt", folder / ".notes.part", folder / clip(1) / "seen.txt", old / "x", half / "y"]
    for path in foreign:
        path.write_text("mine")
    again = opened(folder, said)
    assert names(again) == [clip(1)]
    for order in range(2, 10):
        again.keep(strip(order), b"x" * 900)
    assert clip(1) not in names(again)
    assert [path.read_text() for path in foreign] == ["mine"] * 5


KILLED = """
import os, signal, sys
from pathlib import Path
from swapbell_device.evidence.store import Store
from swapbell_models.evidence import label
store = Store(Path(sys.argv[1]), 10**6, print, free_bytes=0)
store.keep(sys.argv[2], b"whole")
part = store.part(sys.argv[3])
part.mkdir()
(part / "clip.mp4").write_bytes(b"half of it")
os.kill(os.getpid(), signal.SIGKILL)
"""


def test_a_kill_leaves_whole_items_alone_and_half_ones_to_the_broom(folder: Path, said: list[str]) -> None:
    subprocess.run([sys.executable, "-c", KILLED, str(folder), strip(1), clip(2)], check=False)
    assert len(list(folder.iterdir())) == 2
    assert names(opened(folder, said)) == [strip(1)]
    assert len(list(folder.iterdir())) == 1


def test_the_seed_is_the_one_that_the_store_was_begun_with(store: Store, folder: Path, said: list[str]) -> None:
    assert store.seed("first") == "first"
    assert opened(folder, said).seed("second") == "first"


def test_nothing_is_read_that_is_no_file_of_an_item(store: Store, folder: Path) -> None:
    keep_clip(store, 1)
    (folder / "notes.txt").write_text("mine")
    (folder / clip(1) / "seen.txt").write_text("mine")
    assert store.read(clip(1), "seen.txt", 0, 9) is None
    assert store.read(clip(1), "../notes.txt", 0, 9) is None
    assert store.read("notes.txt", "notes.txt", 0, 9) is None
    assert store.read(clip(2), ABOUT, 0, 9) is None


def test_what_went_while_it_was_asked_for_is_gone_and_no_fault(store: Store, folder: Path) -> None:
    store.keep(strip(1), b"abc")
    (folder / f"{strip(1)}.jpg").unlink()
    assert store.read(strip(1), f"{strip(1)}.jpg", 0, 9) is None


def test_a_disk_that_is_nearly_full_is_left_to_the_spool(folder: Path, said: list[str]) -> None:
    store = Store(folder, KEEP_BYTES, said.append, free_bytes=2**62)
    for order in (1, 2):
        store.keep(strip(order), b"abc")
    assert [*store.items()] == []
    assert list(folder.iterdir()) == []
    (line,) = said
    assert line.endswith("MB are free on its disk; counting goes on")
    assert store.trouble is not None


@pytest.mark.part("tmpfs")
def test_a_full_disk_ends_the_evidence_and_room_lets_it_go_on(small_disk: Path, said: list[str]) -> None:
    store = Store(small_disk / "evidence", 10**9, said.append, free_bytes=0)
    (small_disk / "ballast").write_bytes(b"x" * 1_000_000)
    store.keep(strip(1), b"x" * 200_000)
    keep_clip(store, 2, 200_000)
    assert [*store.items()] == []
    assert [path.name for path in (small_disk / "evidence").iterdir()] == []
    (small_disk / "ballast").unlink()
    store.keep(strip(3), b"x" * 200_000)
    assert names(store) == [strip(3)]
    assert [line.partition("evidence is ")[2].partition(":")[0] for line in said] == ["not kept", "kept again"]


@pytest.fixture
def closed(tmp_path: Path) -> Path:
    """Return a place where no folder can be made, even by root: below a file."""
    (tmp_path / "file").write_text("in the way")
    return tmp_path / "file" / "evidence"


def test_a_folder_that_cannot_be_made_is_told_and_ends_nothing(closed: Path, said: list[str]) -> None:
    store = opened(closed, said)
    store.keep(strip(1), b"abc")
    assert store.seed("fresh") == "fresh"
    assert ([*store.items()], len(said)) == ([], 1)
    assert os.strerror(20) in said[0]


def test_an_item_knows_its_files_and_their_size(store: Store) -> None:
    keep_clip(store, 1, 100)
    (item,) = store.items()
    assert isinstance(item, Item)
    assert [(file.name, file.size) for file in item.files] == [("clip.mp4", 100), (EVENTS, 0), (ABOUT, 2)]
    assert item.size == 102
