"""Which tallies of a boot have come: as far as it is summed what is missing is listed, beyond that one looks."""

from collections.abc import Iterable

from sqlalchemy import Connection, Integer, Select, bindparam, delete, func, insert, select

from swapbell_host.books.counttables import gaps
from swapbell_host.books.prepared import Prepared
from swapbell_host.books.schema import tallies
from swapbell_host.books.sequence import Gap, Sequence

_BOOT, _FROM, _TO = (bindparam(name, type_=Integer) for name in ("boot", "first", "last"))


def came(connection: Connection, boot_id: int, uncounted: int) -> Sequence:
    """Return which tallies of a boot are stored, given the first seq that is not summed."""
    found = _listed(connection, boot_id, uncounted)
    last, stored = _NEWEST.run(connection, boot=boot_id, first=uncounted).one()
    if last is not None and stored <= last - uncounted:
        found.gaps += _gaps(_LACKING, connection, boot=boot_id, first=uncounted, before=found.last, last=last)
    found.last = last or found.last
    return found


def note(connection: Connection, boot_id: int, first: int, last: int) -> None:
    """List what is missing of a boot before its stored tallies from a seq to another."""
    _NOTE.run(connection, boot=boot_id, first=first, before=max(first - 1, 0), last=last)


def fill(connection: Connection, boot_id: int, uncounted: int, seqs: Iterable[int]) -> None:
    """Strike off the list what came after all."""
    found = _listed(connection, boot_id, uncounted)
    for seq in seqs:
        found.add(seq)
    connection.execute(delete(gaps).where(gaps.c.boot_id == boot_id))
    if found.gaps:
        connection.execute(insert(gaps), [{"boot_id": boot_id, **gap._asdict()} for gap in found.gaps])


def _listed(connection: Connection, boot_id: int, uncounted: int) -> Sequence:
    return Sequence(max(uncounted - 1, 0), _gaps(_LIST, connection, boot=boot_id))


def _gaps(statement: Prepared, connection: Connection, **values: int) -> list[Gap]:
    return [Gap(first, last) for first, last in statement.run(connection, **values)]


def _lacking() -> Select[int, int]:
    """Return the gaps that end before a stored seq of `first` to `last`, given the one `before` these."""
    seq = tallies.c.seq
    stored = select(seq, func.lag(seq, 1, bindparam("before", type_=Integer)).over(order_by=seq).label("before"))
    pairs = stored.where(tallies.c.boot_id == _BOOT, seq.between(_FROM, _TO)).subquery()
    gap = (pairs.c.before + 1).label("first"), (pairs.c.seq - 1).label("last")
    return select(*gap).where(pairs.c.seq > pairs.c.before + 1).order_by(pairs.c.seq)


def _noting() -> Prepared:
    lacking = _lacking().subquery()
    return Prepared(insert(gaps).from_select(gaps.c.keys(), select(_BOOT, lacking.c.first, lacking.c.last)))


_LACKING, _NOTE = Prepared(_lacking()), _noting()
_LIST = Prepared(select(gaps.c.first, gaps.c.last).where(gaps.c.boot_id == _BOOT).order_by(gaps.c.first))
_NEWEST = Prepared(
    select(func.max(tallies.c.seq), func.count()).where(tallies.c.boot_id == _BOOT, tallies.c.seq >= _FROM)
)
