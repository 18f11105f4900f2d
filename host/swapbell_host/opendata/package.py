"""Writes a Camtrap DP folder: whole or not at all, piece by piece."""

from collections.abc import Callable, Generator, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import BinaryIO

from swapbell_host.books.store import Store
from swapbell_host.intake import Station as Key
from swapbell_host.opendata import csvtext, standard
from swapbell_host.opendata.blanks import Blanks, blanks
from swapbell_host.opendata.choosing import Chosen, unplaced
from swapbell_host.opendata.deployments import Deployments
from swapbell_host.opendata.export import pretty, unwritten
from swapbell_host.opendata.labelling import Labels, contributors, descriptor
from swapbell_host.opendata.observing import EFFORT, Watched
from swapbell_host.opendata.reading import told
from swapbell_models.fault import Mistake


@dataclass(frozen=True, slots=True)
class Written:
    """What came of it: how many rows its tables have, and what somebody should know who uses them."""

    deployments: int
    observations: int
    tallies: int
    remarks: tuple[str, ...]

    @property
    def words(self) -> str:
        """The same for a person."""
        return f"{self.deployments} deployments, {self.observations} observations of {self.tallies} tallies"


def write(
    store: Store, chosen: list[Chosen], folder: Path, labels: Labels, now: datetime, tick: Callable[[], None]
) -> Written:
    """Write a folder that is not there yet.

    Parameters
    ----------
    now : datetime
        Aware UTC.
    tick : callable
        Is called after each piece, of which there are `reading.pieces`.

    Raises
    ------
    Mistake, Breakdown
        If nobody is named who contributed, if there is nothing to write or no place is known, or if it cannot be
        written.
    """
    people, deployments = contributors(chosen, labels), Deployments()
    unsaid = {each.plan.key: blanks(store, each) for each in chosen}
    with _whole(folder) as partial:
        observations, tallies = _write_counts(_watched(store, chosen, unsaid, deployments, tick), partial)
        remarks = tuple(_remarks(store, chosen, unsaid, deployments))
        if not tallies:
            raise Mistake(f"camtrap: {remarks[0] if remarks else 'nothing was counted there and then'}")
        places = [each.row() for each in deployments]
        for name, rows in ((standard.DEPLOYMENTS, places), (standard.MEDIA, [])):
            content = csvtext.header(standard.columns(name)) + csvtext.lines(rows)
            (partial / f"{name}.csv").write_bytes(content)
        (partial / "datapackage.json").write_bytes(pretty(descriptor(list(deployments), people, labels, now)))
    return Written(len(places), observations, tallies, remarks)


def _watched(
    store: Store,
    chosen: list[Chosen],
    unsaid: Mapping[Key, Blanks],
    deployments: Deployments,
    tick: Callable[[], None],
) -> Iterator[list[Watched]]:
    """Yield the tallies of known time and place, piece by piece."""
    for each in chosen:
        for piece in told(store, each, timeless=False):
            yield [
                Watched(each, one, unsaid[each.plan.key], name, one.from_at, end_at)
                for one in piece
                if one.from_at
                and each.span.holds(one.from_at)
                and (end_at := one.from_at + timedelta(seconds=one.tally.seconds))
                and (name := deployments.of(each, one.from_at, end_at))
            ]
            tick()


def _write_counts(pieces: Iterator[list[Watched]], folder: Path) -> tuple[int, int]:
    """Write observations and effort; return how many rows each has."""
    observations = tallies = 0
    names = standard.columns(standard.OBSERVATIONS)
    with _table(folder, standard.OBSERVATIONS, names) as seen, _table(folder, EFFORT.name, EFFORT.names) as effort:
        for piece in pieces:
            rows = [row for one in piece for row in one.observations()]
            seen.write(csvtext.lines(rows))
            effort.write(csvtext.lines(one.effort() for one in piece))
            observations, tallies = observations + len(rows), tallies + len(piece)
    return observations, tallies


@contextmanager
def _table(folder: Path, name: str, names: tuple[str, ...]) -> Generator[BinaryIO]:
    with (folder / f"{name}.csv").open("wb") as file:
        file.write(csvtext.header(names))
        yield file


def _remarks(
    store: Store, chosen: list[Chosen], unsaid: Mapping[Key, Blanks], deployments: Deployments
) -> Iterator[str]:
    for (site, station), count in deployments.homeless.items():
        yield (
            f"{site}/{station}: {count} tallies are left out, for nobody has said where it hung; say it with "
            f"`swapbell-host station change {site}/{station} --place`"
        )
    if adrift := unplaced(store, chosen):
        yield f"{adrift} tallies are left out, for their counters never knew the time of day"
    for (site, station), blank in unsaid.items():
        if blank.twofold:
            yield (
                f"{site}/{station}: two counters reported under its name for {blank.twofold_s / 60.0:.0f} min; that "
                "is a gap here, and `export tallies` has what each of them sent"
            )


@contextmanager
def _whole(folder: Path) -> Generator[Path]:
    """Give a folder to write into, and put it in its place once it is whole."""
    if folder.exists() and not (folder.is_dir() and not any(folder.iterdir())):
        raise Mistake(f"folder {folder}: there is something already; name one that is not there yet")
    try:
        with TemporaryDirectory(prefix=f".{folder.name}.", dir=folder.parent) as scratch:
            partial = Path(scratch) / folder.name
            partial.mkdir()
            yield partial
            partial.rename(folder)
    except OSError as error:
        raise unwritten(folder, error) from error
