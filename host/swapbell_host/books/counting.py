"""Sums tallies by five minutes, in SQL: what `counts` holds, and what a reader adds of tallies not in it yet.

A tally that lies across a border is shared out by the time on either side; its crossings go where they happened. All
is added in whole microseconds, so that it comes out the same in whatever order and pieces it is summed.
"""

from collections.abc import Callable, Collection

from sqlalchemy import (
    CTE,
    BigInteger,
    ColumnElement,
    Connection,
    Integer,
    Select,
    Table,
    bindparam,
    case,
    cast,
    delete,
    func,
    literal,
    null,
    or_,
    select,
    type_coerce,
    union_all,
    update,
)
from sqlalchemy.dialects import postgresql, sqlite

from swapbell_host.books import gapbook
from swapbell_host.books.counttables import counts, gaps
from swapbell_host.books.prepared import Prepared
from swapbell_host.books.schema import boots, crossings, tallies
from swapbell_host.books.wording import Greatest, Least, Whole
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Clock, Direction

STRETCH_US = 300 * 1_000_000
# Our choice: some hundredths of a second of work, so that no message waits for it.
PIECE = 4000
SUMMED = ("visits", "outs", "small", "large", "span_us", "watched_us")


def summed(condition: ColumnElement[bool]) -> Select[*tuple[int, ...]]:
    """Return what the tallies of a condition on `tallies` and `boots` come to, by boot and five minutes.

    What was counted by a free clock is left out until its boot's start is known.
    """
    placed = _placed(condition)
    parts = union_all(_efforts(placed), _bodies(placed)).subquery()
    sums = [func.sum(parts.c[name]).label(name) for name in SUMMED]
    claimed = func.min(parts.c.first_at).label("first_at"), func.max(parts.c.last_at).label("last_at")
    return select(parts.c.boot_id, parts.c.from_at, *sums, *claimed).group_by(parts.c.boot_id, parts.c.from_at)


def advance(connection: Connection, boot_id: int) -> int | None:
    """Sum a boot's next tallies, `PIECE` of them at most; return its new `uncounted`, or nothing if none waited."""
    first = _uncounted(connection, boot_id)
    last, came = _LAST.run(connection, boot=boot_id, first=first, piece=PIECE).one()
    if last is None:
        return None
    _ADD[connection.dialect.name].run(connection, boot=boot_id, first=first, last=last)
    if came <= last - first:
        gapbook.note(connection, boot_id, first, last)
    _PASS.run(connection, boot=boot_id, next=last + 1)
    return int(last) + 1


def add_late(connection: Connection, boot_id: int, seqs: Collection[int]) -> None:
    """Add tallies to what their boot was summed up to before they came."""
    for seq in seqs:
        _ADD[connection.dialect.name].run(connection, boot=boot_id, first=seq, last=seq)
    gapbook.fill(connection, boot_id, _uncounted(connection, boot_id), seqs)


def begin_anew(connection: Connection, boot_id: int) -> None:
    """Forget what a boot was summed to: its tallies lie elsewhere in time than was thought."""
    for table in (counts, gaps):
        connection.execute(delete(table).where(table.c.boot_id == boot_id))
    connection.execute(update(boots).where(boots.c.id == boot_id).values(uncounted=0))


def _uncounted(connection: Connection, boot_id: int) -> int:
    return int(_FIRST.run(connection, boot=boot_id).scalar_one())


def _us(seconds: ColumnElement[float]) -> ColumnElement[int]:
    return Whole(seconds * 1e6 + 0.5)


def _placed(condition: ColumnElement[bool]) -> CTE:
    """Return the tallies where they belong in time; each lasts a microsecond at least."""
    free = tallies.c.clock == Clock.FREE.value
    started_us = type_coerce(boots.c.started_at, BigInteger)
    begun_us = case((free, started_us + _us(tallies.c.up_s)), else_=type_coerce(tallies.c.from_at, BigInteger))
    length_us = Greatest(_us(tallies.c.seconds), literal(1))
    found = select(
        tallies.c.boot_id,
        tallies.c.seq,
        begun_us.label("begun"),
        length_us.label("length"),
        _us(tallies.c.watched_s).label("watched"),
    )
    known = or_(~free, boots.c.started_at.is_not(None))
    return found.join(boots, boots.c.id == tallies.c.boot_id).where(condition, known).cte("placed")


def _efforts(placed: CTE) -> Select[*tuple[int, ...]]:
    """Return how long the tallies lie in each stretch that they touch: they are cut at every border."""
    began = placed.c.begun
    pieces = select(
        placed.c.boot_id,
        began.label("at"),
        (began + placed.c.length).label("ended"),
        placed.c.length,
        placed.c.watched,
    ).cte("pieces", recursive=True)
    border = (pieces.c.at // STRETCH_US + 1) * STRETCH_US
    rest = select(pieces.c.boot_id, border, pieces.c.ended, pieces.c.length, pieces.c.watched).where(
        border < pieces.c.ended
    )
    pieces = pieces.union_all(rest)
    from_us = pieces.c.at // STRETCH_US * STRETCH_US
    last_us = Least(pieces.c.ended, from_us + STRETCH_US)
    span_us = last_us - pieces.c.at
    nobody = [literal(0, Integer).label(name) for name in SUMMED[:4]]
    efforts = (span_us.label("span_us"), (pieces.c.watched * span_us // pieces.c.length).label("watched_us"))
    claimed = pieces.c.at.label("first_at"), last_us.label("last_at")
    return select(pieces.c.boot_id, from_us.label("from_at"), *nobody, *efforts, *claimed)


def _bodies(placed: CTE) -> Select[*tuple[int, ...]]:
    """Return the crossings; one at the very end of its tally is not let out of it."""
    same = (crossings.c.boot_id == placed.c.boot_id) & (crossings.c.seq == placed.c.seq)
    at_us = placed.c.begun + Least(_us(crossings.c.at_s), placed.c.length - 1)
    kinds = (
        _is(Direction.IN, SizeClass.WASP).label("visits"),
        _is(Direction.OUT, SizeClass.WASP).label("outs"),
        _is(Direction.IN, SizeClass.SMALL).label("small"),
        _is(Direction.IN, SizeClass.LARGE).label("large"),
    )
    no_effort = [literal(0, BigInteger).label(name) for name in SUMMED[4:]] + [cast(null(), BigInteger)] * 2
    from_us = (at_us // STRETCH_US * STRETCH_US).label("from_at")
    return select(placed.c.boot_id, from_us, *kinds, *no_effort).join(crossings, same)


def _is(direction: Direction, size: SizeClass) -> ColumnElement[int]:
    so = (crossings.c.direction == direction.value) & (crossings.c.size == size.value)
    return case((so, 1), else_=0)


_BOOT, _FROM, _TO = (
    bindparam("boot", type_=Integer),
    bindparam("first", type_=Integer),
    bindparam("last", type_=Integer),
)


def _adding(insert_into: Callable[[Table], sqlite.Insert | postgresql.Insert]) -> Prepared:
    """Return what adds a boot's tallies from a seq to another to the sums that are there."""
    sums = summed((tallies.c.boot_id == _BOOT) & tallies.c.seq.between(_FROM, _TO))
    adding = insert_into(counts).from_select(counts.c.keys(), sums)
    more = {name: counts.c[name] + adding.excluded[name] for name in SUMMED}
    claimed = {
        name: case((counts.c[name].is_not(None), edge(counts.c[name], adding.excluded[name])))
        for name, edge in (("first_at", Least), ("last_at", Greatest))
    }
    return Prepared(adding.on_conflict_do_update(index_elements=["boot_id", "from_at"], set_=more | claimed))


def _last() -> Prepared:
    waiting = select(tallies.c.seq).where(tallies.c.boot_id == _BOOT, tallies.c.seq >= _FROM)
    piece = waiting.order_by(tallies.c.seq).limit(bindparam("piece", type_=Integer)).subquery()
    return Prepared(select(func.max(piece.c.seq), func.count()))


_ADD = {"sqlite": _adding(sqlite.insert), "postgresql": _adding(postgresql.insert)}
_FIRST = Prepared(select(boots.c.uncounted).where(boots.c.id == _BOOT))
_LAST = _last()
_PASS = Prepared(update(boots).where(boots.c.id == _BOOT).values(uncounted=bindparam("next", type_=Integer)))
