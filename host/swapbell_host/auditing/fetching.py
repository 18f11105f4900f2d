"""Items of evidence, listed and brought here: piece by piece, going on where a cut ended it, whole or not there."""

from collections.abc import Callable, Generator, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Protocol

from swapbell_models.evidence import CLIP_FILES, PICTURE, File, Found, Item, Piece, Seek, Want, label
from swapbell_models.fault import Breakdown, Mistake

TEMPORARY = ".part"
OTHER = "is it of another version?"


class Asked(Protocol):
    """Whoever answers questions for evidence."""

    def ask(self, wants: Seek | Want) -> Found | Piece:
        """Return what is asked for."""
        ...


def listed(station: Asked, seek: Seek) -> Iterator[Item]:
    """Yield the items that a station has.

    Raises
    ------
    Breakdown
        If what it tells is no list of items.
    """
    more = True
    while more:
        found = station.ask(seek)
        if not isinstance(found, Found):
            raise Breakdown(f"the station answered with something else than a list; {OTHER}")
        for item in found.items:
            check(item, seek.after)
        yield from found.items
        more = found.more and bool(found.items)
        if more:
            seek = Seek(after=label(found.items[-1].name).order, from_at=seek.from_at, to_at=seek.to_at)


def check(item: Item, after: int = 0) -> None:
    """Refuse an item whose names are not those of evidence, for they become files here, or that was not asked for.

    Raises
    ------
    Breakdown
        If one is not.
    """
    try:
        told = label(item.name)
    except ValueError as error:
        raise Breakdown(f"the station told of {error}; {OTHER}") from error
    if told.order <= after:
        raise Breakdown(f"the station told of {item.name} again; {OTHER}")
    allowed = CLIP_FILES if told.passing is None else (f"{item.name}{PICTURE}",)
    if wrong := next((file.name for file in item.files if file.name not in allowed), None):
        raise Breakdown(f"the station told of a file {wrong!r} that is none of evidence; {OTHER}")


def fetch(station: Asked, item: Item, folder: Path, came: Callable[[int], None]) -> Path:
    """Bring an item here, and return where it lies; one that is here already is left as it is.

    What came stays beside it under a temporary name until the item is whole: the next call goes on from there.

    Parameters
    ----------
    station : Asked
        Who has it.
    item : Item
        As it was listed.
    folder : Path
        Where it goes.
    came : callable
        Told how many bytes came each time [B].

    Raises
    ------
    Mistake
        If the station has it no more.
    Breakdown
        If it cannot be written, or the station ends a file early.
    """
    is_picture = label(item.name).passing is not None
    path = folder / (f"{item.name}{PICTURE}" if is_picture else item.name)
    if path.exists():
        return path
    part = folder / f".{path.name}{TEMPORARY}"
    with _writing(path):
        if not is_picture:
            part.mkdir(exist_ok=True)
        for file in item.files:
            _bring(station, item, file, part if is_picture else part / file.name, came)
        part.replace(path)
    return path


def _bring(station: Asked, item: Item, file: File, path: Path, came: Callable[[int], None]) -> None:
    """Append to what is here of a file until it is whole."""
    with path.open("ab") as here:
        if here.tell() > file.size:
            here.seek(0)
            here.truncate()
        while (offset := here.tell()) < file.size:
            data = _piece(station, item, file, offset)
            here.write(data)
            came(len(data))


def _piece(station: Asked, item: Item, file: File, offset: int) -> bytes:
    given = station.ask(Want(item=item.name, file=file.name, offset=offset))
    asked = (item.name, file.name, offset, file.size)
    if not isinstance(given, Piece) or (given.item, given.file, given.offset, given.size) != asked or not given.data:
        raise Breakdown(f"{item.name}: the station's {file.name} ended early or changed; list and fetch again")
    return given.data[: file.size - offset]


def chosen(items: Iterable[Item], names: Iterable[str]) -> list[Item]:
    """Return the items of those names; all if no name is given.

    Raises
    ------
    Mistake
        If the station has none of a name.
    """
    wanted, known = list(names), {item.name: item for item in items}
    for name in wanted:
        if name not in known:
            raise Mistake(f"item {name}: the station has none of that name; list what it has first")
    return [known[name] for name in wanted] if wanted else list(known.values())


@contextmanager
def _writing(path: Path) -> Generator[None]:
    try:
        yield
    except OSError as error:
        raise Breakdown(f"{path}: cannot be written ({error.strerror}); make room or choose another place") from error
