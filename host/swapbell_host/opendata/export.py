"""Extracts on their way into a file: whole or not at all, piece by piece, as CSV or Parquet."""

import errno
from collections.abc import Callable, Generator, Iterable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from datetime import datetime
from pathlib import Path

import msgspec

from swapbell_host.opendata import csvtext
from swapbell_host.opendata.describing import descriptor
from swapbell_host.opendata.extracts import Extract
from swapbell_host.opendata.table import Row, Table
from swapbell_models.fault import Breakdown, Mistake

CSV, PARQUET = ".csv", ".parquet"
# What says what a CSV file holds lies beside it, under the name with which Data Packages are told by their ending.
DESCRIPTOR = ".datapackage.json"


def write(extract: Extract, path: Path, now: datetime, tick: Callable[[], None]) -> int:
    """Write an extract; return how many rows it had.

    Parameters
    ----------
    path : Path
        Ends in .csv, which gets a descriptor beside it, or in .parquet; what is there is replaced.
    now : datetime
        Aware UTC.
    tick : callable
        Is called after each piece.

    Raises
    ------
    Mistake, Breakdown
        If the ending is another one, the library for it is missing, or the file cannot be written.
    """
    rows = _ticking(extract.rows, tick)
    if path.suffix.lower() == PARQUET:
        write_parquet = _parquet_writer()
        with whole(path) as partial:
            return write_parquet(extract.table, rows, partial)
    if path.suffix.lower() != CSV:
        raise Mistake(f"file {path}: it must end in {CSV} or {PARQUET}, so that its form is known")
    with ExitStack() as stack:
        beside = stack.enter_context(whole(path.with_suffix(DESCRIPTOR)))
        partial = stack.enter_context(whole(path))
        beside.write_bytes(pretty(descriptor(extract.table, path.name, now)))
        return write_csv(extract.table.names, rows, partial)


def write_csv(names: Iterable[str], rows: Iterable[list[Row]], path: Path) -> int:
    """Write rows that come piece by piece under their names; return how many there were."""
    written = 0
    with path.open("wb") as file:
        file.write(csvtext.header(tuple(names)))
        for piece in rows:
            file.write(csvtext.lines(piece))
            written += len(piece)
    return written


def text(extract: Extract) -> Iterator[bytes]:
    """Yield an extract as CSV, piece by piece."""
    yield csvtext.header(extract.table.names)
    for piece in extract.rows:
        yield csvtext.lines(piece)


def pretty(value: object) -> bytes:
    """Return JSON that a person can read, too."""
    return msgspec.json.format(msgspec.json.encode(value), indent=2) + b"\n"


@contextmanager
def whole(path: Path) -> Generator[Path]:
    """Give a name beside `path` to write to, and put what is there in its place once it is whole."""
    partial = path.with_name(f"{path.name}.part")
    try:
        yield partial
        partial.replace(path)
    except OSError as error:
        raise unwritten(path, error) from error
    finally:
        with suppress(OSError):
            partial.unlink(missing_ok=True)


def unwritten(path: Path, error: OSError) -> Exception:
    """Return what somebody is told of a file that cannot be written."""
    if error.errno == errno.ENOSPC:
        return Breakdown(f"file {path}: the disk is full; free some space or choose another place")
    return Mistake(f"file {path}: it cannot be written ({error.strerror}); choose another place")


def _parquet_writer() -> Callable[[Table, Iterable[list[Row]], Path], int]:
    """Return what writes Parquet: loading it takes a third of a second, and its library is an extra."""
    try:
        from swapbell_host.opendata import parquetfile
    except ModuleNotFoundError as error:
        way_out = "pip install 'swapbell[opendata]', or name the file .csv"
        raise Mistake(f"Parquet needs a library that is not here, {error.name}: {way_out}") from error
    return parquetfile.write


def _ticking(rows: Iterable[list[Row]], tick: Callable[[], None]) -> Iterator[list[Row]]:
    for piece in rows:
        yield piece
        tick()
