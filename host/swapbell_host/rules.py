"""From what the ledger knows of a station to what a person should hear. Pure: no clock, no disk, no network.

Each thing is said once: a kind of notice is raised again only when none of that kind is open for the station and the
last one was acknowledged longer ago than it rests. Repeating an open one is the alerts' affair. A notice ends by
itself where its cause is over, and what was said of a cause that is over holds nothing back. Toxic bait that is out
beyond its deadline is said again soon after each acknowledgement, until it is logged as withdrawn, or lost: that
alone ends it.

What takes the ledger's longer memory to know is said by `slowrules`.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from typing import NamedTuple

from swapbell_host.judging import bait, counting, proof, supply, swap
from swapbell_host.judging.history import History, PastNotice
from swapbell_host.judging.look import Look
from swapbell_models.message import StationState
from swapbell_models.notice import SUPERSEDES, Notice, NoticeKind
from swapbell_models.readiness import Rule, Verdict, assess
from swapbell_models.sitewide import SiteVerdict

# Our choice: half a day. Who acknowledged in the morning hears of the same station again when the next foraging day
# begins, not at every window of the same one.
REST = timedelta(hours=12)
# Our choice: a day. Who knows that a station is ready is told next that the swap is overdue; who knows that a battery
# is low goes on the next trip; visitors and holes are looked at on the way.
LONG_REST = timedelta(days=1)
# Our choice: who acknowledged that bait is left out has been on the way for hours by then.
NAG = timedelta(hours=4)
RESTS = {
    NoticeKind.LEFT_OUT: NAG,
    NoticeKind.READY: LONG_REST,
    NoticeKind.SWAP_OVERDUE: LONG_REST,
    NoticeKind.SUPPLY: LONG_REST,
    NoticeKind.VISITORS: LONG_REST,
    NoticeKind.HOLE: LONG_REST,
}
# For how long an acknowledged notice is part of a `History`.
REMEMBERED = max(RESTS.values())

# What is looked for at each look; each finds one thing at most.
FINDINGS: tuple[Callable[[Look], Notice | None], ...] = (
    swap.call,
    swap.sighting,
    counting.silence,
    counting.blindness,
    counting.twofold,
    bait.out,
    supply.low,
)


class Ending(NamedTuple):
    """What ends a notice without anybody's acknowledgement: in words, and whether it has come."""

    words: str
    has_come: Callable[[PastNotice, History], bool]


_OFF = Ending("the station lures no more, or with fresh lure", swap.is_off)
_OUT = Ending("that the toxic bait was taken out, or lost, is logged", bait.is_in)
_PROVED = Ending("the station verifies no more", proof.is_off)
ENDINGS: Mapping[NoticeKind, Ending] = {
    NoticeKind.TOUCHED: _OFF,
    NoticeKind.READY: _OFF,
    NoticeKind.SWAP_OVERDUE: _OFF,
    NoticeKind.FORECAST: _OFF,
    NoticeKind.VISITORS: _OFF,
    NoticeKind.SILENT: Ending("counts come again, or none are expected", counting.is_heard),
    NoticeKind.BLIND: Ending("the counter can count again, or nobody asks it to", counting.is_counting),
    NoticeKind.TWOFOLD: Ending("one counter reports under its name", counting.is_one),
    NoticeKind.HOLE: Ending("nobody asks it to count", counting.is_off),
    NoticeKind.SUPPLY: Ending("it has enough again, or nobody asks it to count", supply.is_enough),
    NoticeKind.DUE_OUT: _OUT,
    NoticeKind.LEFT_OUT: _OUT,
    NoticeKind.COLLAPSED: _PROVED,
    NoticeKind.REINVASION: _PROVED,
}


def verdict(history: History, now: datetime, rule: Rule) -> Verdict:
    """Return what a station's traffic says at `now` (aware UTC), with its evidence, whatever its phase."""
    rule = replace(rule, place=history.place) if history.place else rule
    return assess(history.tallies, now, rule, blind=history.state is StationState.BLIND)


def news(
    seen: Verdict,
    history: History,
    now: datetime,
    rule: Rule,
    listening_since: datetime | None,
    site: SiteVerdict | None = None,
) -> list[Notice]:
    """Return what a person should newly hear of a verdict on a station.

    Parameters
    ----------
    seen, history
        The verdict, and what is known of the station.
    now : datetime
        Aware UTC.
    rule : Rule
        Its readiness rule.
    listening_since, site
        See `judging.look.Look`.
    """
    look = Look(history, seen, now, rule, listening_since, site)
    found = [each for find in FINDINGS if (each := find(look))]
    standing = [past for past in history.notices if not _answers_nothing(past, history)] if found else []
    return [each for each in found if is_news(each.kind, standing, now)]


def ended(history: History) -> list[PastNotice]:
    """Return the open notices whose cause is over, so that nobody need see to them any more."""
    return [past for past in history.notices if past.is_open and _is_over(past, history)]


def is_news(kind: NoticeKind, told: Iterable[PastNotice], now: datetime) -> bool:
    """Tell whether neither this kind, nor one that holds its word, is open or resting among those told before."""
    saying = {kind} | {later for later, earlier in SUPERSEDES.items() if kind in earlier}
    return not any(past.kind in saying and not _has_rested(past, now, RESTS.get(kind, REST)) for past in told)


def _has_rested(past: PastNotice, now: datetime, rest: timedelta) -> bool:
    return not past.is_open and (past.acknowledged_at is None or now - past.acknowledged_at >= rest)


def _answers_nothing(past: PastNotice, history: History) -> bool:
    """Tell whether a notice holds nothing back: its cause is over, or others were seen since somebody saw to it."""
    seen, answered_at = history.sighting, past.acknowledged_at
    anew = past.kind is NoticeKind.VISITORS and seen and answered_at and answered_at < seen.logged_at
    return bool(anew) or _is_over(past, history)


def _is_over(past: PastNotice, history: History) -> bool:
    return ENDINGS[past.kind].has_come(past, history)
