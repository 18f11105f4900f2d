"""What can be had of the ledger, row by row: counts by stretch, single crossings, tallies."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from swapbell_host.books.countbook import Countbook
from swapbell_host.books.store import Store
from swapbell_host.count import STRETCH, Count, by_day, floor, joined, known, overlap_s
from swapbell_host.opendata.choosing import Chosen, unplaced
from swapbell_host.opendata.reading import Told, pieces, reach, told
from swapbell_host.opendata.table import Row, Table
from swapbell_host.opendata.tables import COUNTS, CROSSINGS, DARK, DUSK, LIGHT, PARTLY, TALLIES, UNWATCHED, WHOLE
from swapbell_models.fault import Mistake
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Direction, Sight, Tally
from swapbell_models.traffic import Span

# Our choice: what is read at a time.
PIECE = timedelta(weeks=1)
# Our choice: times are rounded on their way, by a hundredth of a second for each tally of a quarter of a minute.
WHOLE_SHARE = 0.99


@dataclass(frozen=True, slots=True)
class Extract:
    """Rows on their way out.

    Attributes
    ----------
    pieces
        In how many pieces they come, at most.
    rows
        The rows, piece by piece; read once.
    remarks
        What somebody should know who uses them.
    """

    table: Table
    pieces: int
    rows: Iterator[list[Row]]
    remarks: tuple[str, ...] = ()


def counts(store: Store, chosen: list[Chosen], step: timedelta = STRETCH) -> Extract:
    """Return the counts by stretch, as `tables.COUNTS`.

    Parameters
    ----------
    chosen : list of Chosen
        Of whom; stretches in which a span begins or ends are there whole.
    step : timedelta
        Length of a stretch, a multiple of five minutes; stretches count from 1970-01-01 UTC.

    Raises
    ------
    Mistake
        If the step is none.
    """
    if step <= timedelta() or step % STRETCH:
        raise Mistake(f"--step must be a multiple of 5 min, such as 5 min, 1 h or 1 d, not {step}")
    spans = [(each, begin_at, step) for each in chosen for begin_at in _begins(store, each, step)]
    rows = (_count_rows(store, *span) for span in spans)
    return Extract(COUNTS, len(spans), rows, _remarks(store, chosen, timeless=False))


def crossings(store: Store, chosen: list[Chosen]) -> Extract:
    """Return every crossing, as `tables.CROSSINGS`."""
    rows = (
        [row for one in piece for row in _crossing_rows(each, one)]
        for each in chosen
        for piece in told(store, each, timeless=True)
    )
    return Extract(CROSSINGS, pieces(store, chosen), rows, _remarks(store, chosen, timeless=True))


def tallies(store: Store, chosen: list[Chosen]) -> Extract:
    """Return every tally, as `tables.TALLIES`."""
    rows = (_tally_rows(each, piece) for each in chosen for piece in told(store, each, timeless=True))
    return Extract(TALLIES, pieces(store, chosen), rows, _remarks(store, chosen, timeless=True))


def _remarks(store: Store, chosen: list[Chosen], *, timeless: bool) -> tuple[str, ...]:
    adrift = unplaced(store, chosen)
    if not adrift:
        return ()
    kept = timeless and all(each.span.is_all for each in chosen)
    fate = "they are there, with empty times" if kept else "they are left out"
    return (f"{adrift} tallies came from counters that never knew the time of day; {fate}",)


def _begins(store: Store, each: Chosen, step: timedelta) -> Iterator[datetime]:
    """Yield where the pieces of a station's counts begin."""
    ends = reach(store, each)
    if ends is None:
        return
    at = floor(ends[0], step)
    while at < ends[1]:
        yield at
        at += _piece(step)


def _piece(step: timedelta) -> timedelta:
    return max(step, PIECE - PIECE % step)


def _count_rows(store: Store, each: Chosen, begin_at: datetime, step: timedelta) -> list[Row]:
    end_at = begin_at + _piece(step)
    if each.span.end_at is not None:
        end_at = min(end_at, floor(each.span.end_at - timedelta.resolution, step) + step)
    nights = each.timeline.nights((begin_at, end_at + step))
    found = Countbook(store).span(*each.plan.key, begin_at, end_at)
    return [_count_row(each, count, step, nights) for count in joined(by_day(found, nights or ()), step)]


def _count_row(each: Chosen, count: Count, step: timedelta, nights: Sequence[Span] | None) -> Row:
    to_at = count.from_at + step
    bodies = (count.visits, count.outs, count.small, count.large)
    return (
        *_where(each, count.from_at),
        count.from_at,
        to_at,
        _local(each, count.from_at),
        each.site.zone,
        *(known(number, count.watched_s) for number in bodies),
        count.seconds,
        count.watched_s,
        _seen(count, step),
        None if nights is None else overlap_s((count.from_at, to_at), nights),
        count.twofold_s,
    )


def _seen(count: Count, step: timedelta) -> str:
    if count.watched_s <= 0.0:
        return UNWATCHED
    return WHOLE if count.watched_s >= WHOLE_SHARE * step.total_seconds() else PARTLY


def _crossing_rows(each: Chosen, one: Told) -> Iterator[Row]:
    for n, crossing in enumerate(one.tally.crossings):
        at = one.at(crossing.at_s)
        if at is None or each.span.holds(at):
            yield (
                *_where(each, at),
                at,
                _local(each, at),
                each.site.zone,
                crossing.direction.value,
                crossing.size.value,
                crossing.length_mm,
                crossing.confidence,
                one.tally.boot,
                one.tally.seq,
                n,
                one.clock,
            )


def _tally_rows(each: Chosen, piece: Sequence[Told]) -> list[Row]:
    kept = [one for one in piece if one.from_at is None or each.span.holds(one.from_at)]
    spans = [one.span for one in kept if one.span]
    nights = each.timeline.nights((min(a for a, _ in spans), max(b for _, b in spans))) if spans else None
    return [_tally_row(each, one, nights) for one in kept]


def _tally_row(each: Chosen, one: Told, nights: Sequence[Span] | None) -> Row:
    tally = one.tally
    return (
        *_where(each, one.from_at),
        one.from_at,
        one.at(tally.seconds),
        _local(each, one.from_at),
        each.site.zone,
        tally.boot,
        tally.seq,
        tally.up_s,
        one.clock,
        tally.seconds,
        tally.watched_s,
        _light(one.span, nights) if one.span and nights is not None else None,
        *_bodies(tally),
        *_sight(tally.sight or Sight()),
    )


def _bodies(tally: Tally) -> tuple[int | None, ...]:
    """Return how many bodies of each class went each way; nothing where none did and nobody watched."""
    seen = [(crossing.direction, crossing.size) for crossing in tally.crossings]
    return tuple(known(seen.count((way, size)), tally.watched_s) for way in Direction for size in SizeClass)


def _light(span: Span, nights: Sequence[Span]) -> str:
    """Tell whether a tally lies in the foraging hours."""
    dark_s, whole_s = overlap_s(span, nights), (span[1] - span[0]).total_seconds()
    return LIGHT if not dark_s else DUSK if dark_s < whole_s else DARK


def _sight(seen: Sight) -> Row:
    hindrance = seen.hindrance.value if seen.hindrance else None
    measured = seen.light, seen.detail, seen.noise, seen.shake_mm, seen.moving, seen.dropped, seen.blind_s
    return (*measured, hindrance)


def _where(each: Chosen, at: datetime | None) -> tuple[str | None, ...]:
    phase = each.timeline.phase(at) if at else None
    return *each.plan.key, each.plan.role.value, phase.value if phase else None


def _local(each: Chosen, at: datetime | None) -> str | None:
    return at.astimezone(each.zone).isoformat() if at else None
