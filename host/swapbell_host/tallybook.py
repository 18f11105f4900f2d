"""Tallies and their crossings as rows of the ledger, and back."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime, timedelta
from typing import NamedTuple

from sqlalchemy import ColumnElement, Connection, Row, Table, and_, func, insert, select

from swapbell_host.schema import boots, crossings, tallies, to_us
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Clock, Crossing, Direction, Tally


class Key(NamedTuple):
    """Which row: a boot by its number in the ledger, and the seq."""

    boot_id: int
    seq: int


def put(connection: Connection, fresh: Sequence[tuple[int, Tally]], received_at: datetime) -> None:
    """Write tallies that are not there yet, each with its boot's number."""
    received_us = to_us(received_at)
    _insert(connection, tallies, [_tally_row(boot_id, tally, received_us) for boot_id, tally in fresh])
    _insert(connection, crossings, [row for boot_id, tally in fresh for row in _crossing_rows(boot_id, tally)])


def get(connection: Connection, keys: Iterable[Key]) -> dict[Key, Tally]:
    """Return those of the keys that are stored."""
    wanted: defaultdict[int, set[int]] = defaultdict(set)
    for boot_id, seq in keys:
        wanted[boot_id].add(seq)
    found: dict[Key, Tally] = {}
    for boot_id, seqs in wanted.items():
        found |= _read(connection, and_(tallies.c.boot_id == boot_id, tallies.c.seq.in_(seqs)))
    return found


def received_since(connection: Connection, begin_at: datetime) -> dict[Key, Tally]:
    """Return the tallies received since then, of all stations, in the order in which they were counted."""
    return _read(connection, tallies.c.received_at >= begin_at)


def latest(connection: Connection) -> dict[Key, Tally]:
    """Return the last tally of each station's last boot."""
    last_boots = select(func.max(boots.c.id)).group_by(boots.c.site, boots.c.station)
    last_seq = select(func.max(tallies.c.seq)).where(tallies.c.boot_id == boots.c.id).scalar_subquery()
    named = connection.execute(select(boots.c.id, last_seq).where(boots.c.id.in_(last_boots))).all()
    return get(connection, [Key(boot_id, seq) for boot_id, seq in named if seq is not None])


def seqs(connection: Connection, boot_id: int) -> list[int]:
    """Return the seqs of a boot that are stored, ascending."""
    rows = connection.execute(select(tallies.c.seq).where(tallies.c.boot_id == boot_id).order_by(tallies.c.seq))
    return list(rows.scalars())


def started_at(connection: Connection, boot_id: int) -> datetime | None:
    """Return when a boot started, by its first synced tally; nothing while none came."""
    row = connection.execute(
        select(tallies.c.from_at, tallies.c.up_s)
        .where(tallies.c.boot_id == boot_id, tallies.c.clock == Clock.SYNCED.value)
        .order_by(tallies.c.seq)
        .limit(1)
    ).first()
    return None if row is None else row.from_at - timedelta(seconds=row.up_s)


def _read(connection: Connection, condition: ColumnElement[bool]) -> dict[Key, Tally]:
    named = select(tallies, boots.c.station, boots.c.boot).join(boots, boots.c.id == tallies.c.boot_id)
    rows = connection.execute(named.where(condition).order_by(tallies.c.boot_id, tallies.c.seq)).all()
    passed = _crossings(connection, condition)
    return {key: _tally(row, passed.get(key, ())) for row in rows for key in [Key(row.boot_id, row.seq)]}


def _crossings(connection: Connection, condition: ColumnElement[bool]) -> dict[Key, list[Crossing]]:
    same = and_(crossings.c.boot_id == tallies.c.boot_id, crossings.c.seq == tallies.c.seq)
    rows = connection.execute(
        select(crossings)
        .join(tallies, same)
        .where(condition)
        .order_by(crossings.c.boot_id, crossings.c.seq, crossings.c.n)
    )
    found: defaultdict[Key, list[Crossing]] = defaultdict(list)
    for row in rows:
        found[Key(row.boot_id, row.seq)].append(_crossing(row))
    return found


def _insert(connection: Connection, table: Table, rows: list[tuple[object, ...]]) -> None:
    """Write rows whose values stand in the order of the table's columns.

    By the driver's own many-rows call: going through SQLAlchemy's values costs twice what SQLite needs for the row.
    """
    if not rows:
        return
    compiled = insert(table).compile(dialect=connection.dialect)
    names = table.columns.keys()
    connection.exec_driver_sql(
        compiled.string, rows if compiled.positional else [dict(zip(names, row, strict=True)) for row in rows]
    )


def _tally_row(boot_id: int, tally: Tally, received_us: int) -> tuple[object, ...]:
    clock = tally.clock.value
    return boot_id, tally.seq, to_us(tally.from_at), tally.up_s, clock, tally.seconds, tally.watched_s, received_us


def _crossing_rows(boot_id: int, tally: Tally) -> Iterator[tuple[object, ...]]:
    seq = tally.seq
    for n, crossing in enumerate(tally.crossings):
        yield boot_id, seq, n, crossing.at_s, crossing.direction.value, crossing.size.value, crossing.length_mm


def _tally(row: Row[tuple[object, ...]], passed: Iterable[Crossing]) -> Tally:
    return Tally(
        station=row.station,
        boot=row.boot,
        seq=row.seq,
        from_at=row.from_at,
        up_s=row.up_s,
        clock=Clock(row.clock),
        seconds=row.seconds,
        watched_s=row.watched_s,
        crossings=tuple(passed),
    )


def _crossing(row: Row[tuple[object, ...]]) -> Crossing:
    return Crossing(
        at_s=row.at_s, direction=Direction(row.direction), size=SizeClass(row.size), length_mm=row.length_mm
    )
