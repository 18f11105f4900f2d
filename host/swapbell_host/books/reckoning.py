"""Keeps the sums by five minutes near the newest tally, a piece at a time, while the host goes on."""

from collections import defaultdict
from collections.abc import Iterable, Mapping

from sqlalchemy import ColumnElement, Connection, String, bindparam, exists, select

from swapbell_host.books import bootrows, counting
from swapbell_host.books.bootrows import Boot
from swapbell_host.books.prepared import Prepared
from swapbell_host.books.schema import boots, tallies
from swapbell_host.intake import BootName
from swapbell_models.tally import Tally

# Our choice: an hour at a tally each 15 s. So much more a reader sums in a millisecond or two, and summing it costs a
# twentieth of what it would cost tally by tally.
ENOUGH = 240


class Reckoning:
    """Which boots have tallies that are not summed yet.

    Parameters
    ----------
    connection : Connection
        Where that is read from.
    """

    def __init__(self, connection: Connection) -> None:
        self._due = waiting(connection)

    def take(self, connection: Connection, fresh: Iterable[tuple[Boot, Tally]]) -> None:
        """Note what tallies that were just written down change in the sums: a boot's start, and what came late."""
        started, late = dict[int, Boot](), defaultdict[int, list[int]](list)
        for boot, tally in fresh:
            if boot.starts_by(tally):
                started[boot.id] = boot
            if tally.seq < boot.uncounted:
                late[boot.id].append(tally.seq)
        for boot in started.values():
            bootrows.note_start(connection, boot)
        for boot_id in late.keys() - started.keys():
            counting.add_late(connection, boot_id, late[boot_id])

    def begin(self, connection: Connection, name: BootName) -> None:
        """Let all be summed of the station's boots before a new one: no more of them is to be expected."""
        self._due |= waiting(connection, name[:2])

    def turn(self, connection: Connection, known: Mapping[BootName, Boot], touched: Mapping[BootName, Boot]) -> None:
        """Sum the next piece, if any boot is due; those touched may have become so."""
        for name, boot in touched.items():
            if boot.came.last - boot.uncounted >= ENOUGH:
                self._due[name] = boot.id
        if self._due:
            self._advance(connection, known)

    def _advance(self, connection: Connection, known: Mapping[BootName, Boot]) -> None:
        name, boot_id = next(iter(self._due.items()))
        uncounted = counting.advance(connection, boot_id)
        if uncounted is None:
            del self._due[name]
        elif boot := known.get(name):
            boot.uncounted = uncounted


def waiting(connection: Connection, station: tuple[str, str] | None = None) -> dict[BootName, int]:
    """Return the boots, of one station or of all, that have tallies which are not summed yet."""
    site, name = station or (None, None)
    found = _WAITING_OF.run(connection, site=site, station=name) if station else _WAITING.run(connection)
    return {(site, name, boot): boot_id for boot_id, site, name, boot in found}


def _waiting(*which: ColumnElement[bool]) -> Prepared:
    some = exists().where(tallies.c.boot_id == boots.c.id, tallies.c.seq >= boots.c.uncounted)
    name = (boots.c.id, boots.c.site, boots.c.station, boots.c.boot)
    return Prepared(select(*name).where(some, *which).order_by(boots.c.id))


_WAITING = _waiting()
_WAITING_OF = _waiting(*(boots.c[name] == bindparam(name, type_=String) for name in ("site", "station")))
