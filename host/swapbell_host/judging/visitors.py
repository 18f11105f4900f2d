"""Who else comes to the lure: a warning not to swap before somebody has looked.

Ants take bait away in trails, hornets and mice are no targets either: those are told by their size. A honey bee is as
long as a wasp and never told by it; what can be seen is that wasp-sized visitors come all day without becoming more
from day to day, as recruits from a nest do.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby

from swapbell_host.count import Count
from swapbell_host.judging.evidence import REACH, Evidence
from swapbell_models.calendar.daylight import forages
from swapbell_models.calendar.place import Place
from swapbell_models.notice import Notice, NoticeKind
from swapbell_models.sizes import CAUTION

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
S_PER_H = 3600.0
# Our choice: ants come in trails, several a minute; of flies every protein bait has a few an hour.
SMALL_PER_H = 60.0
# Our choice: of many wasps some are measured too short, at the edge of the view or in a crowd.
SMALL_TO_WASPS = 0.5
# Our choice: an hour or two ago is now; what was longer ago may be gone before anybody comes.
RAID = timedelta(hours=3)
# Our choice: a hornet that hunts there, or a mouse, comes several times a day; a moth or two wasps abreast once.
LARGE_PER_DAY = 6.0
# Our choice: so many in a hundred wasps may be two that were measured as one.
LARGE_TO_WASPS = 0.05
# Our choice: half as many are few enough to be over: what comes and goes at the limit warns once.
OVER_SHARE = 0.5
# Our choice: half an hour watched tells of an hour, and six such hours of a day.
WATCHED_MIN_S, HOURS_MIN = 1800.0, 6
# Our choice: one in five minutes; below that nobody would speak of traffic.
STEADY_PER_H = 12.0
# Our choice: nine hours of ten are all day long.
STEADY_SHARE = 0.9
# Our choice: from half the rule, traffic that grows by less than a quarter from day to day takes longer to reach it
# than a lure stays fresh (3 days: common practice, no source); what fell by a fifth met weather or a dry lure.
STEADY_LOW, STEADY_HIGH = 0.8, 1.25

LOOK_FIRST = (
    "Look at the station before a swap, note what you see, and do not swap while bees or other harmless animals "
    f"visit. {CAUTION}"
)


@dataclass(frozen=True, slots=True)
class Hour:
    """What was seen in an hour of the clock."""

    from_at: datetime
    visits: int
    small: int
    large: int
    watched_s: float

    @property
    def is_watched(self) -> bool:
        """Whether enough of it was watched to tell."""
        return self.watched_s >= WATCHED_MIN_S

    @property
    def watched_h(self) -> float:
        """How long was watched [h]."""
        return self.watched_s / S_PER_H


def hours(counts: Sequence[Count], from_at: datetime, to_at: datetime) -> list[Hour]:
    """Return the hours of the clock that begin in a stretch of time, as far as they were told of."""
    told = (each for each in counts if from_at <= _hour(each) < to_at)
    return [_summed(at, list(each)) for at, each in groupby(told, _hour)]


def _hour(stretch: Count) -> datetime:
    return stretch.from_at.replace(minute=0, second=0, microsecond=0)


def _summed(from_at: datetime, parts: Sequence[Count]) -> Hour:
    return Hour(
        from_at,
        sum(part.visits for part in parts),
        sum(part.small for part in parts),
        sum(part.large for part in parts),
        sum(part.watched_s for part in parts),
    )


def warning(evidence: Evidence) -> Notice | None:
    """Say who else seems to come to the lure of a station that is to be swapped."""
    reasons = list(_reasons(evidence)) if evidence.look.history.swaps else []
    if not reasons:
        return None
    words = f"visitors that may be no wasps: {'; '.join(reasons)}. {LOOK_FIRST}"
    return evidence.look.notice(NoticeKind.VISITORS, evidence.now, words)


def are_gone(_past: object, evidence: Evidence) -> bool:
    """Tell whether a day that was watched well shows none of them any more, and nobody logged any since."""
    if evidence.look.history.sighting:
        return False
    day = hours(evidence.counts, evidence.now - DAY, evidence.now)
    enough = sum(hour.is_watched for hour in day) >= HOURS_MIN
    return enough and not (raided(day, OVER_SHARE) or large(day, OVER_SHARE) or steady(evidence))


def _reasons(evidence: Evidence) -> Iterator[str]:
    now = evidence.now
    if trail := raided(hours(evidence.counts, now - RAID, now)):
        wasps = f"beside {trail.visits} wasp-sized"
        yield f"{trail.small} small ones in {trail.watched_h:.1f} h {wasps}: ants take bait away"
    if number := large(hours(evidence.counts, now - DAY, now)):
        yield f"{number} large ones in a day, more than wasps measured too long would be: hornets, or mice at night"
    known = evidence.look.history.job
    if not evidence.since(known.fresh_at if known else None, NoticeKind.VISITORS) and (per_h := steady(evidence)):
        yield (
            f"{per_h:.0f} wasp-sized ones an hour all day long, not more than the day before: recruits from a nest "
            "become more, bees need not"
        )


def raided(seen: Sequence[Hour], share: float = 1.0) -> Hour | None:
    """Return the latest hour with so many small ones (times `share`) that ants are likely; nothing if none is."""
    return next((hour for hour in reversed(seen) if _is_raided(hour, share)), None)


def _is_raided(hour: Hour, share: float) -> bool:
    many = hour.is_watched and hour.small >= share * SMALL_PER_H * hour.watched_h
    return many and hour.small >= SMALL_TO_WASPS * hour.visits


def large(seen: Sequence[Hour], share: float = 1.0) -> int:
    """Return how many large ones came, if more than so many (times `share`) are no mismeasured wasps; else 0."""
    beyond = sum(max(0.0, hour.large - LARGE_TO_WASPS * hour.visits) for hour in seen)
    return sum(hour.large for hour in seen) if beyond >= share * LARGE_PER_DAY else 0


def steady(evidence: Evidence) -> float | None:
    """Return the visits per hour of traffic that lasts all day and does not grow [1/h]; nothing if it is none.

    Nothing where the place is not known and so no day, and none once the station was called ready: that call asks to
    look for bees by itself.
    """
    place, now = evidence.look.place, evidence.now
    if place is None or evidence.since(now - REACH, NoticeKind.READY):
        return None
    earlier, later = (_lit(evidence, place, now - k * DAY) for k in (2, 1))
    clock = {hour.from_at.hour for hour in earlier} & {hour.from_at.hour for hour in later}
    earlier, later = ([hour for hour in day if hour.from_at.hour in clock] for day in (earlier, later))
    if len(clock) < HOURS_MIN or not (_lasts(earlier) and _lasts(later)):
        return None
    return _per_h(later) if STEADY_LOW <= _per_h(later) / _per_h(earlier) <= STEADY_HIGH else None


def _lit(evidence: Evidence, place: Place, from_at: datetime) -> list[Hour]:
    """Return the watched foraging hours of a day that begins anywhere."""
    day = hours(evidence.counts, from_at, from_at + DAY)
    return [hour for hour in day if hour.is_watched and forages(place, hour.from_at + HOUR / 2)]


def _lasts(day: Sequence[Hour]) -> bool:
    busy = sum(hour.visits >= STEADY_PER_H * hour.watched_h for hour in day)
    return busy >= STEADY_SHARE * len(day)


def _per_h(day: Sequence[Hour]) -> float:
    return sum(hour.visits for hour in day) / sum(hour.watched_h for hour in day)
