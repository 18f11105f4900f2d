"""Holes in the data: hours of a foraging day that nobody watched, and tallies that will not come."""

from collections.abc import Iterator
from datetime import datetime, timedelta

from swapbell_host.judging.evidence import STRETCH, Evidence, Missing
from swapbell_host.judging.history import COUNTING, PastNotice
from swapbell_models.calendar.daylight import nights
from swapbell_models.notice import Notice, NoticeKind

DAY = timedelta(days=1)
# Our choice: three hours, about a fifth of a summer day in which the rule may have been reached unseen.
UNWATCHED_MIN_S = 3 * 3600.0
# Our choice: an hour at the usual tally of a quarter of a minute; smaller holes are shown, but worth no word.
MISSING_MIN = 240
# Our choice: an hour; a broker hands over a day of a hundred stations in minutes.
CATCH_UP = timedelta(hours=1)
# Our choice: half of it, so that a hole that is filled slowly is not told of twice.
FILLED_SHARE = 0.5
# Whoever heard of one of these knows why nothing was watched.
_WHYS = frozenset({NoticeKind.SILENT, NoticeKind.BLIND, NoticeKind.TWOFOLD})


def hole(evidence: Evidence) -> Notice | None:
    """Say what is missing of a station that counts, unless somebody heard why nobody watched."""
    if evidence.look.history.phase not in COUNTING or not _has_listened(evidence):
        return None
    told = evidence.since(evidence.now - DAY, NoticeKind.HOLE)
    known_at = told[-1].raised_at if told else evidence.now - DAY
    reasons = [*_unwatched(evidence), *_missing(evidence, known_at, MISSING_MIN)]
    words = f"a hole in the data: {'; '.join(reasons)}. What happened then is not known; that does not mean quiet."
    return evidence.look.notice(NoticeKind.HOLE, evidence.now, words) if reasons else None


def _has_listened(evidence: Evidence) -> bool:
    """Tell whether what waited at the broker while the host was away has had the time to come."""
    since = evidence.look.listening_since
    return since is not None and evidence.now - since >= CATCH_UP


def is_filled(_past: PastNotice, evidence: Evidence) -> bool:
    """Tell whether what was missing of the last day has come, or is older than that."""
    short = unwatched_s(evidence) < FILLED_SHARE * UNWATCHED_MIN_S
    return short and not list(_missing(evidence, evidence.now - DAY, MISSING_MIN * FILLED_SHARE))


def _unwatched(evidence: Evidence) -> Iterator[str]:
    known = any(past.kind in _WHYS and _lasted(past, evidence.now - DAY) for past in evidence.told)
    if not known and (seconds := unwatched_s(evidence)) >= UNWATCHED_MIN_S:
        yield f"{seconds / 3600.0:.1f} foraging hours of the last day were not watched, in many short gaps or one"


def _lasted(past: PastNotice, since: datetime) -> bool:
    return past.is_open or max(past.raised_at, past.ended_at or past.raised_at) >= since


def _missing(evidence: Evidence, since: datetime, least: float) -> Iterator[str]:
    """Yield what to say of larger holes that began since a moment and that the station's spool does not hold."""
    recent = [each for each in evidence.missing if each.from_at >= since]
    for lost in (True, False):
        number = _number(recent, lost=lost) - (0 if lost else _held(evidence))
        if number >= least:
            from_at = next(each.from_at for each in recent if each.lost is lost)
            why = "the station no longer has them" if lost else "they do not come, although the station is heard"
            yield f"{number} tallies from {from_at:%Y-%m-%d %H:%M} UTC on are missing: {why}"


def _number(missing: list[Missing], *, lost: bool) -> int:
    return sum(each.tallies for each in missing if each.lost is lost)


def _held(evidence: Evidence) -> int:
    """Return how many tallies wait in the station's spool; without its word, as many as there may be."""
    health = evidence.look.history.health
    waiting = health.spool_tallies if health else None
    return _number(list(evidence.missing), lost=False) if waiting is None else waiting


def unwatched_s(evidence: Evidence) -> float:
    """Return how much of the foraging hours of the last day nobody watched [s]; 0 where the place is not known.

    What lies before the last entry of the log is left out: the station may not have hung there.
    """
    place, job, now = evidence.look.place, evidence.look.history.job, evidence.now
    if place is None:
        return 0.0
    begin_at = max(now - DAY, job.logged_at if job else now - DAY)
    dark = nights(place, begin_at, now)
    light_s = (now - begin_at - sum((b - a for a, b in dark), timedelta())).total_seconds()
    middles = ((each.from_at + STRETCH / 2, each.watched_s) for each in evidence.counts)
    seen_s = sum(s for at, s in middles if begin_at <= at < now and not any(a <= at < b for a, b in dark))
    return max(0.0, light_s - seen_s)
