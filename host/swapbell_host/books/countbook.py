"""What a station counted, by five minutes or a multiple of them, over a season as over an hour."""

from datetime import datetime, timedelta

from sqlalchemy import BigInteger, String, and_, bindparam, cast, func, select, type_coerce, union_all

from swapbell_host.books.counting import STRETCH_US, SUMMED, summed
from swapbell_host.books.counttables import counts
from swapbell_host.books.prepared import Prepared
from swapbell_host.books.schema import boots, from_us, tallies, to_us
from swapbell_host.books.store import Store
from swapbell_host.count import Count

STRETCH = timedelta(microseconds=STRETCH_US)


class Countbook:
    """The counts of every station of one ledger, down to the newest tally; whether its host runs or not.

    Parameters
    ----------
    store : Store
        The ledger's database.
    """

    def __init__(self, store: Store) -> None:
        self._store = store

    def span(
        self, site: str, station: str, from_at: datetime, to_at: datetime, step: timedelta = STRETCH
    ) -> list[Count]:
        """Return a station's stretches that begin from `from_at` on and before `to_at`, in their order.

        Stretches without any tally are not there. What was counted without a clock is there once the start of its
        boot is known.

        Parameters
        ----------
        from_at, to_at : datetime
            Aware UTC; a stretch that holds `from_at` is in.
        step : timedelta
            Length of a stretch, a multiple of five minutes; stretches count from 1970-01-01 UTC.

        Raises
        ------
        ValueError
            If the step is none.
        """
        if step <= timedelta() or step % STRETCH:
            raise ValueError(f"a step of {step} is no multiple of five minutes")
        step_us = step // timedelta(microseconds=1)
        first_us = to_us(from_at) // step_us * step_us
        with self._store.reading() as connection:
            last_us = to_us(to_at) - 1
            found = _SUMS.run(connection, site=site, station=station, first=first_us, last=last_us, step=step_us)
            rows = found.all()
        return [_count(*row) for row in rows]


def _count(begun_us: int, visits: int, outs: int, small: int, large: int, span_us: int, watched_us: int) -> Count:
    return Count(from_us(begun_us), visits, outs, small, large, span_us / 1e6, watched_us / 1e6)


def _sums() -> Prepared:
    """Return the sums of a station by the step: what is summed already, and what its newest tallies come to."""
    step = bindparam("step", type_=BigInteger)
    own = [boots.c[name] == bindparam(name, type_=String) for name in ("site", "station")]
    stored = select(counts.c.from_at, *(counts.c[name] for name in SUMMED)).join(boots).where(*own)
    fresh = summed(and_(*own, tallies.c.seq >= boots.c.uncounted)).subquery()
    waiting = select(fresh.c.from_at, *(fresh.c[name] for name in SUMMED))
    parts = union_all(stored, waiting).subquery()
    at_us = type_coerce(parts.c.from_at, BigInteger)
    within = at_us.between(bindparam("first", type_=BigInteger), bindparam("last", type_=BigInteger))
    wide = select((at_us // step * step).label("begun"), *(parts.c[name] for name in SUMMED)).where(within).subquery()
    sums = [cast(func.sum(wide.c[name]), BigInteger) for name in SUMMED]
    return Prepared(select(wide.c.begun, *sums).group_by(wide.c.begun).order_by(wide.c.begun))


_SUMS = _sums()
