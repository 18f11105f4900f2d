"""What a station counted, by five minutes or a multiple of them, over a season as over an hour."""

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from itertools import groupby

from sqlalchemy import (
    BigInteger,
    Label,
    String,
    Subquery,
    and_,
    bindparam,
    case,
    cast,
    func,
    literal,
    select,
    type_coerce,
    union_all,
)

from swapbell_host.books.counting import STRETCH_US, SUMMED, summed
from swapbell_host.books.counttables import counts
from swapbell_host.books.prepared import Prepared
from swapbell_host.books.schema import boots, from_us, tallies, to_us
from swapbell_host.books.store import Book
from swapbell_host.books.wording import Greatest, Least
from swapbell_host.count import STRETCH, Count, by_day, joined
from swapbell_models.calendar.daylight import nights
from swapbell_models.calendar.place import Place
from swapbell_models.readiness import TWOFOLD_S

TWOFOLD_US = round(TWOFOLD_S * 1e6)


class Countbook(Book):
    """The counts of every station of one ledger, down to the newest tally; whether its host runs or not.

    Where two starts of a counter claim the same time, more than `TWOFOLD_S` of three stretches in a row, two counters
    share the name: each of these five minutes of which both claim some is no number but a gap.
    """

    def span(
        self,
        site: str,
        station: str,
        from_at: datetime,
        to_at: datetime,
        step: timedelta = STRETCH,
        place: Place | None = None,
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
        place : Place, optional
            Where the station hangs: nobody watches there outside of the foraging hours. Without it no time is known
            to be night.

        Raises
        ------
        ValueError
            If the step is none.
        """
        if step <= timedelta() or step % STRETCH:
            raise ValueError(f"a step of {step} is no multiple of five minutes")
        step_us = step // timedelta(microseconds=1)
        first_us, last_us = to_us(from_at) // step_us * step_us, to_us(to_at) - 1
        if place is None:
            return self._read(site, station, first_us, last_us, step_us)
        fine = self._read(site, station, first_us, last_us, STRETCH_US)
        found = by_day(fine, nights(place, fine[0].from_at, fine[-1].from_at + STRETCH) if fine else ())
        return found if step == STRETCH else joined(found, step)

    def _read(self, site: str, station: str, first_us: int, last_us: int, step_us: int) -> list[Count]:
        own: dict[str, int | str] = {"site": site, "station": station, "first": first_us, "last": last_us}
        with self._store.reading() as connection:
            rows = _SUMS.run(connection, **own, step=step_us).all()
            shared = any(row[-1] for row in rows)
            doubled = _TWOFOLD.run(connection, **own).all() if shared else ()
        taken = {at_us: _added(parts) for at_us, parts in groupby(doubled, lambda row: row[0] // step_us * step_us)}
        return [_count(begun_us, sums, taken.get(begun_us)) for begun_us, *sums, _ in rows]


def _added(rows: Iterable[Sequence[int]]) -> list[int]:
    return [sum(values) for values in zip(*(row[1:] for row in rows), strict=True)]


def _count(begun_us: int, sums: Sequence[int], taken: Sequence[int] | None) -> Count:
    """Return a count, without what two counters claimed of it."""
    claimed_us = 0
    if taken:
        *doubled, claimed_us = taken
        sums = [whole - part for whole, part in zip(sums, doubled, strict=True)]
    visits, outs, small, large, span_us, watched_us = sums
    return Count(from_us(begun_us), visits, outs, small, large, span_us / 1e6, watched_us / 1e6, claimed_us / 1e6)


def _parts(beside_us: int = 0) -> Subquery:
    """Return what is summed of a station already, and what its newest tallies come to, in a span and beside it."""
    own = [boots.c[name] == bindparam(name, type_=String) for name in ("site", "station")]
    fresh = summed(and_(*own, tallies.c.seq >= boots.c.uncounted)).subquery()
    both = union_all(select(counts).join(boots).where(*own), select(fresh)).subquery()
    first, last = (bindparam(name, type_=BigInteger) for name in ("first", "last"))
    within = type_coerce(both.c.from_at, BigInteger).between(first - beside_us, last + beside_us)
    columns = [type_coerce(column, BigInteger).label(column.key) for column in both.c]
    return select(*columns).where(within).subquery()


def _sums() -> Prepared:
    """Return the sums of a station by the step, and beside them above 0 where more than one boot is in it."""
    parts, step = _parts(), bindparam("step", type_=BigInteger)
    begun = (parts.c.from_at // step * step).label("begun")
    shared = func.max(parts.c.boot_id) - func.min(parts.c.boot_id)
    return Prepared(select(begun, *_added_up(parts), shared).group_by(begun).order_by(begun))


def _twofold() -> Prepared:
    """Return the five minutes that two starts of a counter claim, what they come to, and how much is claimed.

    Claims overlap by what they come to together beyond the stretch that they lie in. A row that an older ledger
    summed does not know its edges: then they overlap by no less than what is claimed beyond five minutes.
    """
    boot = _claims(_parts(beside_us=STRETCH_US))
    claimed = func.max(boot.c.last_at) - func.min(boot.c.first_at)
    over = (cast(func.sum(boot.c.claim), BigInteger) - claimed).label("over")
    claims = select(boot.c.from_at, *_added_up(boot), claimed.label("claimed"), over)
    each = claims.group_by(boot.c.from_at).having(func.count() > 1).subquery()
    near = func.sum(Greatest(each.c.over, literal(0))).over(order_by=each.c.from_at, range_=(-STRETCH_US, STRETCH_US))
    told = select(each, near.label("beside")).subquery()
    first, last = (bindparam(name, type_=BigInteger) for name in ("first", "last"))
    found = select(told.c.from_at, *(told.c[name] for name in SUMMED), told.c.claimed)
    found = found.where(told.c.over > 0, told.c.beside > TWOFOLD_US, told.c.from_at.between(first, last))
    return Prepared(found.order_by(told.c.from_at))


def _claims(parts: Subquery) -> Subquery:
    """Return what each boot claims of each five minutes: from when to when, and how much at least."""
    first_at = func.min(func.coalesce(parts.c.first_at, parts.c.from_at))
    last_at = func.max(func.coalesce(parts.c.last_at, parts.c.from_at + STRETCH_US))
    known = func.count(parts.c.first_at) == func.count()
    sums = _added_up(parts)
    claim = case((known, last_at - first_at), else_=Least(func.sum(parts.c.span_us), literal(STRETCH_US)))
    edges = first_at.label("first_at"), last_at.label("last_at"), claim.label("claim")
    return (
        select(parts.c.boot_id, parts.c.from_at, *sums, *edges).group_by(parts.c.boot_id, parts.c.from_at).subquery()
    )


def _added_up(parts: Subquery) -> list[Label[int]]:
    return [cast(func.sum(parts.c[name]), BigInteger).label(name) for name in SUMMED]


_SUMS, _TWOFOLD = _sums(), _twofold()
