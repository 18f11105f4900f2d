"""When each kind of notice is told, told again, and told to whoever stands behind: every choice, and why.

A call is told as soon as it may be. Everything else waits for the day's round-up: the first message of a day that is
no call. Spans of less than a day count only the hours in which the person may be called; a span of days ends with the
round-up of that day. A person's day begins when the quiet hours of the night end.
"""

from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from swapbell_host.jobs.quiet import Quiet, quiet
from swapbell_models.notice import NoticeKind

HOUR, DAY = timedelta(hours=1), timedelta(days=1)

# Our choice: the quiet hours of whoever has named none; a swap, and bait that is due out, can wait for the morning.
NIGHT = quiet("22:00-07:00")
# Our choice: what nobody can do anything about before tomorrow does not ring in the evening.
EVENING = time(20, 0)
# Our choice: the host looks at every station within half a minute; what one outage did to many is told together.
GATHER = timedelta(minutes=1)
# Our choice: nobody waits for a round-up, and what goes wrong at one station often does so at the next, too.
GATHER_LOOK = timedelta(minutes=10)
# Our choice: after the first call of a day the next one waits a little, and each later one longer: five stations that
# grow ready one after the other in a morning are one way there. The last span stays, which bounds a day.
SPACING = (HOUR / 2, 2 * HOUR, 4 * HOUR)
# Our choice: an address that took nothing for so long is one that does not reach the person: a call goes to whoever
# stands behind; anything else can wait for a day.
UNREACHED = HOUR
UNREACHED_LOOK = DAY
# Our choice: three times in a day is no accident; from then on it is one thing that comes and goes.
FLAPS = 3
FLAPPING = DAY
# Our choice: as long as an errand may be known: beyond it only open notices remember what was told.
REMEMBERED = 8 * DAY


@dataclass(frozen=True, slots=True)
class Course:
    """How a kind of notice is told.

    Attributes
    ----------
    call
        Whether it is told at once; otherwise with the day's round-up.
    again_after
        How long after each telling an unacknowledged one is told again; the last span stays, none is never.
    behind_after
        How long after the first telling whoever stands behind is told, or, where nobody does, the first one again;
        nothing if only where nobody was reached.
    any_hour
        Whether its first telling, also to whoever stands behind, breaks quiet hours and waits for no later spacing.
    """

    call: bool
    again_after: tuple[timedelta, ...] = ()
    behind_after: timedelta | None = None
    any_hour: bool = False


# Our choice: news without a task is told once.
_NEWS = Course(call=False)
# Our choice: a fault is brought to mind the next day, then ever more seldom, so that nobody learns to look away.
_FAULT = Course(call=False, again_after=(DAY, 3 * DAY, 7 * DAY))
# Our choice: two hours leave time to answer from the field; a swap that comes two hours later still finds the wasps.
_SWAP = Course(call=True, again_after=(DAY,), behind_after=2 * HOUR)
# Our choice: the next day it is the swap that is overdue, where nothing holds it back; one word a day is enough.
_READY = replace(_SWAP, again_after=(2 * DAY, DAY))
# A warning of visitors is a call where somebody may be on the way to swap, and waits for no later spacing: these
# could be bees.
WARNING = _SWAP
SWAPS = frozenset({NoticeKind.READY, NoticeKind.SWAP_OVERDUE})

COURSES = {
    NoticeKind.READY: _READY,
    NoticeKind.SWAP_OVERDUE: _SWAP,
    # The one kind that rings at night: whoever was told half a day ahead has let the deadline pass, what is out can
    # harm animals that feed at night, and the label's term is over. Its reminders, also of the notice that is raised
    # anew after each acknowledgement, wait for the morning.
    NoticeKind.LEFT_OUT: Course(call=True, again_after=(4 * HOUR,), behind_after=HOUR, any_hour=True),
    # No call: it is known so far ahead that a round-up names it half a day before or more, and again on the last day.
    NoticeKind.DUE_OUT: Course(call=False, again_after=(DAY,)),
    NoticeKind.TOUCHED: _NEWS,
    NoticeKind.FORECAST: _NEWS,
    NoticeKind.COLLAPSED: _NEWS,
    NoticeKind.HOLE: _NEWS,
    NoticeKind.SILENT: _FAULT,
    NoticeKind.BLIND: _FAULT,
    NoticeKind.TWOFOLD: _FAULT,
    NoticeKind.SUPPLY: _FAULT,
    NoticeKind.VISITORS: _FAULT,
    NoticeKind.REINVASION: _FAULT,
}


def course(kind: NoticeKind) -> Course:
    """Return how a kind is told."""
    return COURSES[kind]


def nth(spans: tuple[timedelta, ...], times: int) -> timedelta:
    """Return the span after so many times, from 1; the last one stays."""
    return spans[min(max(times, 1), len(spans)) - 1]


def day_of(at: datetime, hours: Quiet, zone: ZoneInfo) -> int:
    """Return the number of the person's day, from one morning to the next, in which a moment lies."""
    begins = _morning(hours)
    clock = at.astimezone(zone).replace(tzinfo=None)
    return (clock - timedelta(hours=begins.hour, minutes=begins.minute)).toordinal()


def may_round_up(at: datetime, hours: Quiet, zone: ZoneInfo) -> bool:
    """Tell whether a round-up may go out at a moment."""
    return _morning(hours) <= at.astimezone(zone).time() < EVENING and not hours.holds(at, zone)


def _morning(hours: Quiet) -> time:
    return hours.ends if hours.begins > hours.ends else NIGHT.ends
