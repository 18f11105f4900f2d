"""From what the ledger knows of a station to what a person should hear. Pure: no clock, no disk, no network.

Each thing is said once: a kind of notice is raised again only when none of that kind is open for the station and the
last one was acknowledged longer than `REST` ago. Repeating an open one is the alerts' affair. A silence, or a counter
that cannot count, is said once for each spell of it: the spell ends when a tally, or one that was watched, ends after
the notice was raised, and what was said of it then holds nothing back. Toxic bait that is out beyond its deadline is
said again soon after each acknowledgement, until its withdrawal is logged: that alone ends it.
"""

from dataclasses import replace
from datetime import datetime, timedelta

from swapbell_host.judging.history import History, PastNotice
from swapbell_models.message import StationState
from swapbell_models.notice import (
    SUPERSEDES,
    Notice,
    NoticeKind,
    blind_words,
    due_out_words,
    left_out_words,
    notice,
    ready_words,
    silent_words,
    touched_words,
)
from swapbell_models.phase import Event, Phase
from swapbell_models.readiness import UNWATCHED_SHARE_MAX, Reason, Rule, Step, Verdict, assess

# Our choice: half a day. Who acknowledged in the morning hears of the same station again when the next foraging day
# begins, not at every window of the same one.
REST = timedelta(hours=12)
# Our choice: who acknowledged that bait is left out has been on the way for hours by then.
NAG = timedelta(hours=4)
# Our choice: told the evening before, somebody can go in the morning.
DUE_AHEAD = timedelta(hours=12)
# Our choice: where a count is expected, so that its absence is news.
COUNTING = frozenset({Phase.LURING, Phase.TOXIC, Phase.OVERDUE, Phase.VERIFYING})
TOXIC_OUT = frozenset({Phase.TOXIC, Phase.OVERDUE})
# What ends a notice without anybody's acknowledgement.
ENDINGS = {
    NoticeKind.TOUCHED: "the station lures no more",
    NoticeKind.READY: "the station lures no more",
    NoticeKind.SILENT: "counts come again",
    NoticeKind.BLIND: "the counter can count again",
    NoticeKind.DUE_OUT: "the toxic bait was taken out",
    NoticeKind.LEFT_OUT: "the toxic bait was taken out",
    NoticeKind.FORECAST: "the station lures no more, or the day that was meant has passed",
    NoticeKind.SWAP_OVERDUE: "the station lures no more",
    NoticeKind.VISITORS: "no such visitors came for a day, or the station lures no more",
    NoticeKind.HOLE: "what was missing has come, or is a day old",
    NoticeKind.SUPPLY: "it has enough again",
    NoticeKind.COLLAPSED: "the station verifies no more",
    NoticeKind.REINVASION: "the station verifies no more",
}


def verdict(history: History, now: datetime, rule: Rule) -> Verdict:
    """Return what a station's traffic says at `now` (aware UTC), with its evidence, whatever its phase."""
    rule = replace(rule, place=history.place or rule.place)
    return assess(history.tallies, now, rule, blind=history.state is StationState.BLIND)


def judge(history: History, now: datetime, rule: Rule, listening_since: datetime | None) -> list[Notice]:
    """Return what a person should newly hear of a station.

    Parameters
    ----------
    history : History
        What is known of it.
    now : datetime
        Aware UTC.
    rule : Rule
        Its readiness rule.
    listening_since : datetime or None
        Since when the host has been listening without a break: a silence counts from then at the earliest, because
        what came before waits at the broker. Nothing while it does not listen: then nobody is silent but the host.
    """
    return news(verdict(history, now, rule), history, now, rule, listening_since)


def news(
    seen: Verdict, history: History, now: datetime, rule: Rule, listening_since: datetime | None
) -> list[Notice]:
    """Return what a person should newly hear of a verdict on a station; see `judge`."""
    found = [_of_traffic(seen, history, now, rule, listening_since), _of_bait(history, now)]
    return [each for each in found if each and _is_news(each.kind, history, now)]


def ended(history: History) -> list[PastNotice]:
    """Return the open notices whose spell has ended, so that nobody need see to them any more."""
    return [past for past in history.notices if past.acknowledged_at is None and _is_over(past, history)]


def _of_traffic(
    seen: Verdict, history: History, now: datetime, rule: Rule, listening_since: datetime | None
) -> Notice | None:
    site, station = history.site, history.station
    if history.swaps and seen.step is Step.READY and seen.last:
        return notice(site, station, NoticeKind.READY, seen.last.to_at, ready_words(seen, rule))
    if history.swaps and seen.step is Step.TOUCHED and seen.reached_at:
        return notice(site, station, NoticeKind.TOUCHED, seen.reached_at, touched_words(seen, rule))
    listened = listening_since is not None and (now - listening_since).total_seconds() > rule.silent_s
    if seen.reason is Reason.SILENT and history.phase in COUNTING and listened:
        last_at = seen.last.to_at if seen.last else None
        ahead = history.ahead_at - now if history.ahead_at else None
        return notice(site, station, NoticeKind.SILENT, now, silent_words(last_at, history.state, ahead))
    if seen.reason is Reason.BLIND and seen.long_blind and seen.last and history.phase in COUNTING:
        words = blind_words(seen.windows[0].from_at, seen.hindrance)
        return notice(site, station, NoticeKind.BLIND, seen.last.to_at, words)
    return None


def _of_bait(history: History, now: datetime) -> Notice | None:
    """Return what its job says of toxic bait: that it is due out soon, or left out."""
    job = history.job
    due = next((due for due in job.expects if due.event is Event.WITHDRAWN), None) if job else None
    if job is None or due is None or due.by_at is None or job.swapped_at is None:
        return None
    kind, words = NoticeKind.DUE_OUT, due_out_words
    if job.phase is Phase.OVERDUE:
        kind, words = NoticeKind.LEFT_OUT, left_out_words
    elif now < due.by_at - DUE_AHEAD:
        return None
    return notice(history.site, history.station, kind, now, words(job.swapped_at, due.by_at))


def _is_news(kind: NoticeKind, history: History, now: datetime) -> bool:
    """Tell whether neither this kind, nor one that holds its word, is open or resting."""
    saying = {kind} | {later for later, earlier in SUPERSEDES.items() if kind in earlier}
    rest = NAG if kind is NoticeKind.LEFT_OUT else REST
    return not any(
        past.kind in saying and (past.acknowledged_at is None or now - past.acknowledged_at < rest)
        for past in history.notices
        if not _is_over(past, history)
    )


def _is_over(past: PastNotice, history: History) -> bool:
    """Tell whether a later tally has broken a silence or a blindness, or a later step of the job answered it."""
    later = [tally for tally in history.tallies[-1:] if tally.to_at > past.raised_at]
    if past.kind is NoticeKind.SILENT:
        return bool(later)
    if past.kind is NoticeKind.BLIND:
        return any(tally.watched_s > (1.0 - UNWATCHED_SHARE_MAX) * tally.seconds for tally in later)
    if past.kind in {NoticeKind.DUE_OUT, NoticeKind.LEFT_OUT}:
        return history.phase not in TOXIC_OUT
    return history.phase is not Phase.LURING
