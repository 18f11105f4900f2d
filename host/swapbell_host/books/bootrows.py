"""The starts of counters as rows of the ledger: which of their tallies have come, and up to where they are summed."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import BigInteger, Connection, Integer, Row, String, bindparam, insert, select, update

from swapbell_host.books import counting, gapbook, refusals
from swapbell_host.books.prepared import Prepared
from swapbell_host.books.schema import boots, from_us, to_us
from swapbell_host.books.sequence import Hole, Sequence, holes
from swapbell_host.intake import CLAIM_MAX, SEQ_MAX, BootName
from swapbell_models.tally import Clock, Tally

_NAME = {name: bindparam(name, type_=String) for name in ("site", "station", "boot")}
_FIND = Prepared(select(boots).where(*(boots.c[column] == value for column, value in _NAME.items())))
_BEGIN = Prepared(insert(boots).values(_NAME | {"oldest": 0, "last": 0, "uncounted": 0}).returning(boots.c.id))
_START = Prepared(
    update(boots)
    .where(boots.c.id == bindparam("id_", type_=Integer))
    .values(synced=bindparam("seq", type_=Integer), started_at=bindparam("at", type_=BigInteger))
)


@dataclass(slots=True)
class Boot:
    """One start of a station's counter, by its number in the ledger.

    Attributes
    ----------
    came
        Which of its tallies are here, or will never be.
    oldest, last
        What its spool said that it holds.
    uncounted
        The first seq that is not summed.
    synced, started_at
        Its first tally with a set clock, beyond all where none came; and when it started, by that one.
    """

    id: int
    came: Sequence
    oldest: int = 0
    last: int = 0
    uncounted: int = 0
    synced: int = SEQ_MAX + 1
    started_at: datetime | None = None

    @property
    def settled(self) -> int:
        """Return the seq from which on no tally changes what was summed, or when the boot started."""
        return max(self.synced, self.uncounted)

    def starts_by(self, tally: Tally) -> bool:
        """Take a tally that came; tell whether it says anew when the boot started."""
        if tally.seq > self.synced or tally.clock is Clock.FREE:
            return False
        self.synced, self.started_at = tally.seq, tally.from_at - timedelta(seconds=tally.up_s)
        return True

    def claim(self, seq: int) -> None:
        """Take a tally that was refused but kept, unless its seq is beyond belief."""
        _claim(self.came, seq)


def find(connection: Connection, name: BootName) -> Boot | None:
    """Return a boot that the ledger knows."""
    site, station, boot = name
    row = _FIND.run(connection, site=site, station=station, boot=boot).first()
    if row is None:
        return None
    came = _came(connection, row)
    came.forget_below(row.oldest)
    if row.synced is None:
        return Boot(row.id, came, row.oldest, row.last, row.uncounted)
    return Boot(row.id, came, row.oldest, row.last, row.uncounted, row.synced, from_us(row.started_at))


def begin(connection: Connection, name: BootName) -> Boot:
    """Write a new boot down."""
    site, station, boot = name
    return Boot(_BEGIN.run(connection, site=site, station=station, boot=boot).scalar_one(), Sequence())


def note_start(connection: Connection, boot: Boot) -> None:
    """Write down when a boot started; what was summed of it may lie elsewhere now."""
    if boot.started_at is not None:
        _START.run(connection, id_=boot.id, seq=boot.synced, at=to_us(boot.started_at))
    if boot.uncounted:
        counting.begin_anew(connection, boot.id)
        boot.uncounted = 0


def note_held(connection: Connection, boot: Boot, oldest: int, last: int) -> None:
    """Write down what a spool says that it holds of a boot, unless that is no news or beyond belief."""
    oldest, last = max(oldest, boot.oldest), max(last, boot.last)
    if max(oldest, last) > boot.came.last + CLAIM_MAX or (oldest, last) == (boot.oldest, boot.last):
        return
    connection.execute(update(boots).where(boots.c.id == boot.id).values(oldest=oldest, last=last))
    boot.came.forget_below(oldest)
    boot.oldest, boot.last = oldest, last


def station_holes(connection: Connection, site: str, station: str) -> list[Hole]:
    """Return the tallies of a station that are missing, boot by boot."""
    of_station = select(boots).where(boots.c.site == site, boots.c.station == station).order_by(boots.c.id)
    rows = connection.execute(of_station).all()
    return [hole for row in rows for hole in holes(row.boot, _came(connection, row), row.oldest, row.last)]


def _came(connection: Connection, boot: Row[tuple[object, ...]]) -> Sequence:
    came = gapbook.came(connection, boot.id, boot.uncounted)
    for seq in sorted(refusals.claimed(connection, boot.site, boot.station, boot.boot)):
        _claim(came, seq)
    return came


def _claim(came: Sequence, seq: int) -> None:
    if seq <= came.last + CLAIM_MAX:
        came.add(seq)
