"""Evidence that was fetched, as an audit reads it: films with what the counter reported of them, and strips."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import msgspec
from msgspec.structs import replace

from swapbell_models.evidence import ABOUT, PICTURE, TALLIES, About, Label, is_item, label
from swapbell_models.fault import Mistake
from swapbell_models.tally import Tally
from swapbell_models.traffic import Window, read

# Films are dated by how long the counter was up, which no setting of a clock moves; from when on does not matter.
EPOCH_AT = datetime(2026, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Film:
    """One minute that was drawn: with a film, or with the reason why there is none.

    Attributes
    ----------
    window
        What the counter reported of the minute.
    visits_s
        When it saw its visits, from the first frame of the film [s].
    """

    name: str
    about: About
    window: Window
    visits_s: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Fetched:
    """What lies in a folder, in the order of the names."""

    films: tuple[Film, ...]
    strips: tuple[Label, ...]


def read_folder(folder: Path) -> Fetched:
    """Read what was fetched into a folder.

    Raises
    ------
    Mistake
        If there is no such folder, or an item in it is damaged.
    """
    if not folder.is_dir():
        raise Mistake(f"folder {folder}: there is no such folder; fetch evidence first")
    names = sorted(path.name for path in folder.iterdir())
    films = [_film(folder / name) for name in names if is_item(name) and (folder / name).is_dir()]
    pictures = [name.removesuffix(PICTURE) for name in names if name.endswith(PICTURE)]
    return Fetched(tuple(films), tuple(label(name) for name in pictures if is_item(name)))


def _film(folder: Path) -> Film:
    try:
        about = msgspec.json.decode((folder / ABOUT).read_bytes(), type=About)
        tallies = list(_tallies(folder)) if about.left_out is None else []
    except OSError as error:
        raise Mistake(f"film {folder}: {error.strerror}: {error.filename}; fetch it again") from error
    except msgspec.DecodeError as error:
        raise Mistake(f"film {folder}: it is damaged ({error}); fetch it again") from error
    from_at = EPOCH_AT + timedelta(seconds=about.up_s)
    to_at = from_at + timedelta(seconds=about.seconds)
    window = read(_undated(tallies)).window(from_at, to_at)
    return Film(folder.name, about, window, tuple(_visits_s(tallies, about)))


def _tallies(folder: Path) -> Iterator[Tally]:
    for line in (folder / TALLIES).read_bytes().splitlines():
        yield msgspec.json.decode(line, type=Tally)


def _undated(tallies: Sequence[Tally]) -> Iterator[Tally]:
    return (replace(tally, from_at=EPOCH_AT + timedelta(seconds=tally.up_s)) for tally in tallies)


def _visits_s(tallies: Sequence[Tally], about: About) -> Iterator[float]:
    first_s = about.up_s + (about.first_s or 0.0)
    for tally in tallies:
        for crossing in tally.crossings:
            at_s = tally.up_s + crossing.at_s
            if crossing.is_visit() and about.up_s <= at_s < about.up_s + about.seconds:
                yield at_s - first_s
