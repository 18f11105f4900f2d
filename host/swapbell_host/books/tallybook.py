"""Tallies and their crossings as rows of the ledger, and back."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator
from datetime import datetime
from functools import cache

from msgspec import UNSET, UnsetType
from sqlalchemy import (
    BindParameter,
    ColumnElement,
    Connection,
    Dialect,
    Row,
    Select,
    Table,
    and_,
    func,
    insert,
    select,
    tuple_,
)
from sqlalchemy.sql.compiler import SQLCompiler

from swapbell_host.books.schema import boots, crossings, sights, tallies, to_us
from swapbell_host.books.sequence import Gap, Sequence
from swapbell_host.intake import Station
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Clock, Crossing, Direction, Hindrance, Sight, Tally

# Which row: a boot by its number in the ledger, and the seq.
Key = tuple[int, int]
Value = int | BindParameter[int]


def put(connection: Connection, fresh: Collection[tuple[int, Tally]], received_at: datetime) -> None:
    """Write tallies that are not there yet, each with its boot's number."""
    received_us = to_us(received_at)
    _insert(connection, tallies, [_tally_row(boot_id, tally, received_us) for boot_id, tally in fresh])
    passed = [(boot_id, tally) for boot_id, tally in fresh if tally.crossings]
    _insert(connection, crossings, [row for boot_id, tally in passed for row in _crossing_rows(boot_id, tally)])
    seeing = [(boot_id, tally, tally.sight) for boot_id, tally in fresh if tally.sight]
    _insert(connection, sights, [_sight_row(boot_id, tally, seen) for boot_id, tally, seen in seeing])


def get(connection: Connection, keys: Iterable[Key]) -> dict[Key, Tally]:
    """Return those of the keys that are stored."""
    wanted: defaultdict[int, set[int]] = defaultdict(set)
    for boot_id, seq in keys:
        wanted[boot_id].add(seq)
    found: dict[Key, Tally] = {}
    for boot_id, seqs in wanted.items():
        stored = _read(connection, and_(tallies.c.boot_id == boot_id, tallies.c.seq.in_(seqs)))
        found |= {key: tally for key, (_, tally) in stored.items()}
    return found


def recent(connection: Connection, begin_at: datetime) -> list[tuple[Station, Tally]]:
    """Return the tallies received since then, and the last one of each station however old, by boot and seq."""
    last_seq = select(func.max(tallies.c.seq)).where(tallies.c.boot_id == boots.c.id).scalar_subquery()
    last = select(boots.c.id, last_seq).where(boots.c.id.in_(_last_boots()))
    old = _read(connection, tuple_(tallies.c.boot_id, tallies.c.seq).in_(last))
    new = _read(connection, tallies.c.received_at >= begin_at)
    return list((old | new).values())


def heard_at(connection: Connection) -> dict[Station, datetime]:
    """Return when each station's last boot last sent a tally, aware UTC."""
    rows = connection.execute(
        select(boots.c.site, boots.c.station, func.max(tallies.c.received_at).label("at"))
        .join(tallies, tallies.c.boot_id == boots.c.id)
        .where(boots.c.id.in_(_last_boots()))
        .group_by(boots.c.site, boots.c.station)
    )
    return {(row.site, row.station): row.at for row in rows}


def came_after(connection: Connection, boot_id: int, known: Sequence) -> Sequence:
    """Return which tallies of a boot are stored, given all that are known up to a seq."""
    last = connection.execute(select(func.max(tallies.c.seq)).where(tallies.c.boot_id == boot_id)).scalar() or 0
    rows = connection.execute(lacking(boot_id, known.last + 1, known.last, last)).all()
    return Sequence(max(known.last, last), [*known.gaps, *(Gap(*row) for row in rows)])


def lacking(boot_id: Value, first: Value, before: Value, last: Value) -> Select[int, int]:
    """Return the gaps of a boot that end before a stored seq of `first` to `last`, given the one `before` these."""
    seq = tallies.c.seq
    stored = select(seq, func.lag(seq, 1, before).over(order_by=seq).label("before"))
    pairs = stored.where(tallies.c.boot_id == boot_id, seq.between(first, last)).subquery()
    gap = (pairs.c.before + 1).label("first"), (pairs.c.seq - 1).label("last")
    return select(*gap).where(pairs.c.seq > pairs.c.before + 1).order_by(pairs.c.seq)


def _last_boots() -> Select[int]:
    return select(func.max(boots.c.id)).group_by(boots.c.site, boots.c.station)


def _read(connection: Connection, condition: ColumnElement[bool]) -> dict[Key, tuple[Station, Tally]]:
    named = select(tallies, boots.c.site, boots.c.station, boots.c.boot).join(boots, boots.c.id == tallies.c.boot_id)
    rows = connection.execute(named.where(condition).order_by(tallies.c.boot_id, tallies.c.seq)).all()
    passed, seen = _crossings(connection, condition), _sights(connection, condition)
    keys = ((row.boot_id, row.seq) for row in rows)
    return {
        key: ((row.site, row.station), _tally(row, passed.get(key, ()), seen.get(key, UNSET)))
        for key, row in zip(keys, rows, strict=True)
    }


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
        found[(row.boot_id, row.seq)].append(_crossing(row))
    return found


def _sights(connection: Connection, condition: ColumnElement[bool]) -> dict[Key, Sight]:
    same = and_(sights.c.boot_id == tallies.c.boot_id, sights.c.seq == tallies.c.seq)
    rows = connection.execute(select(sights).join(tallies, same).where(condition)).all()
    return {(row.boot_id, row.seq): _sight(row) for row in rows}


def _insert(connection: Connection, table: Table, rows: list[tuple[object, ...]]) -> None:
    """Write rows whose values stand in the order of the table's columns.

    By the driver's own many-rows call: going through SQLAlchemy's values costs twice what SQLite needs for the row.
    """
    if not rows:
        return
    compiled = _compiled(table, connection.dialect)
    names = table.columns.keys()
    connection.exec_driver_sql(
        compiled.string, rows if compiled.positional else [dict(zip(names, row, strict=True)) for row in rows]
    )


@cache
def _compiled(table: Table, dialect: Dialect) -> SQLCompiler:
    compiled = insert(table).compile(dialect=dialect)
    assert isinstance(compiled, SQLCompiler)
    return compiled


def _tally_row(boot_id: int, tally: Tally, received_us: int) -> tuple[object, ...]:
    clock = tally.clock.value
    return boot_id, tally.seq, to_us(tally.from_at), tally.up_s, clock, tally.seconds, tally.watched_s, received_us


def _crossing_rows(boot_id: int, tally: Tally) -> Iterator[tuple[object, ...]]:
    seq = tally.seq
    for n, crossing in enumerate(tally.crossings):
        way, size = crossing.direction.value, crossing.size.value
        yield boot_id, seq, n, crossing.at_s, way, size, crossing.length_mm, crossing.confidence


def _sight_row(boot_id: int, tally: Tally, seen: Sight) -> tuple[object, ...]:
    measured = seen.light, seen.detail, seen.noise, seen.shake_mm, seen.moving, seen.dropped, seen.blind_s
    return boot_id, tally.seq, *measured, seen.hindrance.value if seen.hindrance else None


def _tally(row: Row[tuple[object, ...]], passed: Iterable[Crossing], seen: Sight | UnsetType) -> Tally:
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
        sight=seen,
    )


def _crossing(row: Row[tuple[object, ...]]) -> Crossing:
    return Crossing(
        at_s=row.at_s,
        direction=Direction(row.direction),
        size=SizeClass(row.size),
        length_mm=row.length_mm,
        confidence=row.confidence,
    )


def _sight(row: Row[tuple[object, ...]]) -> Sight:
    return Sight(
        light=row.light,
        detail=row.detail,
        noise=row.noise,
        shake_mm=row.shake_mm,
        moving=row.moving,
        dropped=row.dropped,
        blind_s=row.blind_s,
        hindrance=Hindrance(row.hindrance) if row.hindrance else None,
    )
