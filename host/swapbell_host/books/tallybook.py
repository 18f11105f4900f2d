"""Tallies and their crossings as rows of the ledger, and back."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator
from datetime import datetime
from functools import cache

from msgspec import UNSET
from sqlalchemy import (
    BigInteger,
    ColumnElement,
    Connection,
    Dialect,
    Row,
    ScalarSelect,
    Select,
    Table,
    and_,
    func,
    insert,
    select,
    type_coerce,
)
from sqlalchemy.sql.compiler import SQLCompiler

from swapbell_host.books.schema import boots, crossings, from_us, sights, tallies, to_us
from swapbell_host.books.wording import Aside
from swapbell_host.intake import BootName, Station
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Clock, Crossing, Direction, Hindrance, Sight, Tally

# Which row: a boot by its number in the ledger, and the seq.
Key = tuple[int, int]

# Our choice: so many rows are read in one go, some megabytes.
AT_ONCE = 10_000
_COLUMNS = (
    tallies.c.boot_id,
    tallies.c.seq,
    type_coerce(tallies.c.from_at, BigInteger),
    tallies.c.up_s,
    tallies.c.clock,
    tallies.c.seconds,
    tallies.c.watched_s,
)
_NAMED = boots.c.id == tallies.c.boot_id
# In SQLite going through the moments of receipt would mean to look up each tally apart.
_received_us = Aside(type_coerce(tallies.c.received_at, BigInteger))
_CLOCKS = {each.value: each for each in Clock}
_WAYS = {each.value: each for each in Direction}
_SIZES = {each.value: each for each in SizeClass}


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
        found |= {key: tally for key, _, tally in stored}
    return found


def recent(connection: Connection, begin_at: datetime) -> Iterator[tuple[Station, Tally]]:
    """Yield the tallies received since then, and before them the last one of each station if it is older."""
    last = and_(tallies.c.boot_id.in_(_last_boots()), tallies.c.seq == _last_seq())
    for condition in (and_(last, _received_us < to_us(begin_at)), _received_since(begin_at)):
        for _, station, tally in _read(connection, condition):
            yield station, tally


def heard_at(connection: Connection) -> dict[Station, datetime]:
    """Return when each station's last boot last sent a tally, aware UTC."""
    rows = connection.execute(
        select(boots.c.site, boots.c.station, tallies.c.received_at.label("at"))
        .join(tallies, tallies.c.boot_id == boots.c.id)
        .where(boots.c.id.in_(_last_boots()), tallies.c.seq == _last_seq())
    )
    return {(row.site, row.station): row.at for row in rows}


def _received_since(begin_at: datetime) -> ColumnElement[bool]:
    """Return the condition for what was received since then, such that each boot is read in one go."""
    young = tallies.alias()
    boot_id = Aside(young.c.boot_id).label("boot_id")  # here the moments of receipt are the way to go
    firsts = select(boot_id, func.min(young.c.seq).label("seq")).where(young.c.received_at >= begin_at)
    first = firsts.group_by(boot_id).subquery()
    return and_(tallies.c.boot_id == first.c.boot_id, tallies.c.seq >= first.c.seq, _received_us >= to_us(begin_at))


def _last_seq() -> ScalarSelect[int]:
    other = tallies.alias()
    return select(func.max(other.c.seq)).where(other.c.boot_id == boots.c.id).correlate(boots).scalar_subquery()


def _last_boots() -> Select[int]:
    return select(func.max(boots.c.id)).group_by(boots.c.site, boots.c.station)


def _read(connection: Connection, condition: ColumnElement[bool]) -> Iterator[tuple[Key, Station, Tally]]:
    """Yield the tallies of a condition as the database finds them; a boot's name is kept once for all of its own."""
    passed, seen = _crossings(connection, condition), _sights(connection, condition)
    names: dict[int, BootName] = {}
    found = select(*_COLUMNS, boots.c.site, boots.c.station, boots.c.boot).where(_NAMED, condition)
    for row in connection.execute(found, execution_options={"yield_per": AT_ONCE}):
        boot_id, seq, began_us, up_s, clock, seconds, watched_s, *name = row
        site, station, boot = names.get(boot_id) or names.setdefault(boot_id, (name[0], name[1], name[2]))
        key = (boot_id, seq)
        yield (
            key,
            (site, station),
            Tally(
                station=station,
                boot=boot,
                seq=seq,
                from_at=from_us(began_us),
                up_s=up_s,
                clock=_CLOCKS[clock],
                seconds=seconds,
                watched_s=watched_s,
                crossings=tuple(passed.get(key, ())),
                sight=seen.get(key, UNSET),
            ),
        )


def _crossings(connection: Connection, condition: ColumnElement[bool]) -> dict[Key, list[Crossing]]:
    same = and_(crossings.c.boot_id == tallies.c.boot_id, crossings.c.seq == tallies.c.seq)
    passed = select(crossings).where(same, _NAMED, condition)
    found: defaultdict[Key, list[Crossing]] = defaultdict(list)
    ordered = passed.order_by(crossings.c.boot_id, crossings.c.seq, crossings.c.n)
    for boot_id, seq, _, at_s, way, size, length_mm, confidence in connection.execute(ordered):
        crossing = Crossing(
            at_s=at_s, direction=_WAYS[way], size=_SIZES[size], length_mm=length_mm, confidence=confidence
        )
        found[(boot_id, seq)].append(crossing)
    return found


def _sights(connection: Connection, condition: ColumnElement[bool]) -> dict[Key, Sight]:
    same = and_(sights.c.boot_id == tallies.c.boot_id, sights.c.seq == tallies.c.seq)
    rows = connection.execute(select(sights).where(same, _NAMED, condition)).all()
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
