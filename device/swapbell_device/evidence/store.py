"""The store of evidence: a plain folder of items, whole ones only, the oldest dropped first.

An item is a file or a folder that bears its label's name. It is made under a temporary name and renamed when it is
whole; what a kill left half-made is swept away at the next start. Whatever else lies in the folder is somebody's and
stays. What the disk refuses is told once: the count does not wait for it.
"""

import errno
import os
import shutil
from bisect import bisect_right
from collections.abc import Callable, Generator, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from threading import Lock

from swapbell_models.evidence import ABOUT, CLIP_FILES, EVENTS, PICTURE, TALLIES, TIMES, File, Item, is_item, label

TEMPORARY = ".part"
# Our choice: three weeks of strips and films at an ordinary station, in some 3 MB of memory.
ITEMS_MAX = 10_000
# Our choice: one long film, as noise makes it, must not push out all else that is kept.
ITEM_SHARE_MAX = 0.25
# Of a minute in which nothing was seen there is nothing to say.
EMPTY_WELL = (EVENTS, TIMES, TALLIES)
SEED = "seed.txt"
# Our choice: the spool needs the room more; below 200 MB the host warns of a station's disk.
FREE_MIN_BYTES = 250_000_000


class Store:
    """Items of evidence on disk; one thread writes, any may read.

    Parameters
    ----------
    folder : Path
        Made if it is missing.
    keep_bytes : int
        Most that all items and the one in the making may hold [B].
    say : callable
        Told one line for each change of state.
    free_bytes : int
        What must stay free on the disk [B].

    Attributes
    ----------
    trouble
        Why nothing can be kept now; nothing if it can.
    """

    def __init__(
        self, folder: Path, keep_bytes: int, say: Callable[[str], None], free_bytes: int = FREE_MIN_BYTES
    ) -> None:
        self.folder = folder
        self.trouble: str | None = None
        self._keep_bytes, self._free_bytes, self._say = keep_bytes, free_bytes, say
        self._lock = Lock()
        # A strip is one file of its own name, so that only its size is worth the memory of ten thousand.
        self._held: dict[str, int | tuple[File, ...]] = {}
        self._order = self._bytes = 0
        with self.trying():
            folder.mkdir(exist_ok=True)
            self._find()

    def items(self, after: int = 0) -> Iterator[Item]:
        """Yield what is kept, oldest first, beyond a place in the order of making."""
        with self._lock:
            names = list(self._held)
        for name in names[bisect_right(names, after, key=lambda name: label(name).order) :]:
            if (item := self.item(name)) is not None:
                yield item

    def item(self, name: str) -> Item | None:
        """Return an item that is kept."""
        with self._lock:
            held = self._held.get(name)
        if held is None:
            return None
        return Item(name, (File(f"{name}{PICTURE}", held),) if isinstance(held, int) else held)

    def next_order(self) -> int:
        """Return the place of the next item in the order of making."""
        self._order += 1
        return self._order

    def seed(self, fresh: str) -> str:
        """Return the seed of this store: the one that it was begun with, or `fresh` from now on."""
        path = self.folder / SEED
        with suppress(OSError, UnicodeDecodeError):
            if kept := path.read_text(encoding="utf-8").strip():
                return kept
        part = path.with_name(f".{SEED}{TEMPORARY}")
        with self.trying():
            part.write_text(f"{fresh}\n", encoding="utf-8")
            part.replace(path)
        return fresh

    def keep(self, name: str, picture: bytes) -> None:
        """Keep a picture as an item."""
        part = self.part(f"{name}{PICTURE}")
        with self.trying(part):
            self.make_room(len(picture))
            part.write_bytes(picture)
            self._finish(part, name, PICTURE)

    def part(self, name: str) -> Path:
        """Return the temporary name under which an item is made."""
        return self.folder / f".{name}{TEMPORARY}"

    def finish(self, part: Path, name: str) -> None:
        """Keep a folder that was made under a temporary name and is whole now.

        Raises
        ------
        OSError
            If the disk refuses.
        """
        self.make_room(sum(file.size for file in _files(part)))
        for file in _files(part):
            _settle(part / file.name)
        self._finish(part, name, "")

    def make_room(self, more_bytes: int) -> None:
        """Drop the oldest items until so much more [B] has room.

        Raises
        ------
        OSError
            If it cannot have.
        """
        if more_bytes > self._keep_bytes * ITEM_SHARE_MAX:
            raise OSError(errno.EFBIG, f"it is longer than {ITEM_SHARE_MAX:.0%} of keep_bytes")
        while self._held and (self._bytes + more_bytes > self._keep_bytes or len(self._held) >= ITEMS_MAX):
            self._drop(next(iter(self._held)))
        free = shutil.disk_usage(self.folder).free
        if free - more_bytes < self._free_bytes:
            raise OSError(errno.ENOSPC, f"only {free / 1e6:.0f} MB are free on its disk")

    def read(self, item: str, file: str, offset: int, length: int) -> tuple[bytes, int] | None:
        """Return bytes of an item's file and how long it is [B]; nothing if it is not kept, or no more."""
        known = self.item(item)
        size = next((each.size for each in known.files if each.name == file), None) if known else None
        if size is None:
            return None
        with suppress(OSError), self._path(item, file).open("rb") as content:
            content.seek(offset)
            return content.read(length), size
        return None

    @contextmanager
    def trying(self, part: Path | None = None) -> Generator[None]:
        """Tell, once, that the disk refuses, and leave nothing half-made."""
        try:
            yield
        except OSError as error:
            if part is not None:
                remove(part)
            self.refuse(str(error.strerror or error))
        else:
            self._accept()

    def tell(self, line: str) -> None:
        """Tell whoever runs the counter one line."""
        self._say(line)

    def refuse(self, why: str) -> None:
        """Note why nothing can be kept, and tell it once."""
        line = f"evidence {self.folder} is not kept: {why}"
        if self.trouble is None:
            self._say(f"{line}; counting goes on")
        self.trouble = line

    def _accept(self) -> None:
        if self.trouble is not None:
            self._say(f"evidence {self.folder} is kept again")
        self.trouble = None

    def _path(self, item: str, file: str) -> Path:
        return self.folder / file if file == f"{item}{PICTURE}" else self.folder / item / file

    def _finish(self, part: Path, name: str, suffix: str) -> None:
        path = self.folder / f"{name}{suffix}"
        part.replace(path)
        self._hold(path)

    def _hold(self, path: Path) -> None:
        name, files = path.name.removesuffix(PICTURE), _files(path)
        with self._lock:
            self._held[name] = files[0].size if path.name.endswith(PICTURE) else files
        self._bytes += sum(file.size for file in files)

    def _drop(self, name: str) -> None:
        item = self.item(name)
        assert item is not None
        with self._lock:
            del self._held[name]
        self._bytes -= item.size
        for file in item.files:
            self._path(item.name, file.name).unlink(missing_ok=True)
        with suppress(OSError):  # something of somebody's else lies in it, or it is a picture
            (self.folder / item.name).rmdir()

    def _find(self) -> None:
        """Take in what an earlier start left, and sweep away what it left half-made."""
        for path in sorted(self.folder.iterdir()):
            name = path.name
            if name.startswith(".") and name.endswith(TEMPORARY):
                if is_item(name[1:].removesuffix(TEMPORARY).removesuffix(PICTURE)):
                    remove(path)
            elif is_item(name.removesuffix(PICTURE)):
                self._order = max(self._order, label(name.removesuffix(PICTURE)).order)
                if _is_whole(path):
                    self._hold(path)
                else:
                    remove(path)


def _files(path: Path) -> tuple[File, ...]:
    found = [path / name for name in CLIP_FILES] if path.is_dir() else [path]
    return tuple(File(each.name, each.stat().st_size) for each in found if each.is_file())


def _is_whole(path: Path) -> bool:
    """Tell whether an item holds what it must: after a power cut a file can be there without its content."""
    proof = path / ABOUT if path.is_dir() else path
    return proof.is_file() and all(file.size for file in _files(path) if file.name not in EMPTY_WELL)


def _settle(path: Path) -> None:
    with path.open("rb") as file:
        os.fsync(file.fileno())


def remove(path: Path) -> None:
    """Remove what we made, and nothing that somebody else put beside it."""
    with suppress(OSError):
        if not path.is_dir():
            path.unlink()
            return
        for name in CLIP_FILES:
            (path / name).unlink(missing_ok=True)
        path.rmdir()
