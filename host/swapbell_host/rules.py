"""From what the ledger knows of a station to what a person should hear. Pure: no clock, no disk, no network.

Each thing is said once: a kind of notice is raised again only when none of that kind is open for the station and the
last one was acknowledged longer than `REST` ago. Repeating an open one is the alerts' affair. A silence is said once
for each spell of it: the spell ends when a tally ends after the notice was raised, and what was said of it then holds
nothing back.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from swapbell_models.message import Health, StationState
from swapbell_models.notice import (
    SUPERSEDES,
    Notice,
    NoticeKind,
    notice,
    ready_words,
    silent_words,
    touched_words,
)
from swapbell_models.phase import Phase
from swapbell_models.readiness import Reason, Rule, Step, Verdict, assess
from swapbell_models.tally import Tally

# Our choice: half a day. Who acknowledged in the morning hears of the same station again when the next foraging day
# begins, not at every window of the same one.
REST = timedelta(hours=12)
# Our choice: where a count is expected, so that its absence is news.
COUNTING = frozenset({Phase.LURING, Phase.TOXIC, Phase.OVERDUE, Phase.VERIFYING})


@dataclass(frozen=True, slots=True)
class PastNotice:
    """A notice that was raised before.

    Attributes
    ----------
    raised_at
        The moment of its evidence, aware UTC.
    acknowledged_at
        When a person acknowledged it; nothing while it is open.
    id
        Its number in the ledger.
    """

    kind: NoticeKind
    raised_at: datetime
    acknowledged_at: datetime | None = None
    id: int = 0


@dataclass(frozen=True, slots=True)
class History:
    """What the ledger knows of one station.

    Attributes
    ----------
    phase
        Where the station stands in its job.
    tallies
        The last hour's, in time order, with times that the ledger vouches for (a boot that never knew the time of
        day is left out); the latest one always, however old it is. None that is dated ahead of the host's clock.
    ahead_at
        The end of the last one that came dated ahead of the host's clock, aware UTC; nothing if none did.
    health
        What the station last said of itself.
    notices
        Those still open, and those acknowledged within the last `REST`; none that ended by itself.
    """

    site: str
    station: str
    phase: Phase
    tallies: tuple[Tally, ...] = ()
    health: Health | None = None
    notices: tuple[PastNotice, ...] = ()
    ahead_at: datetime | None = None


def verdict(history: History, now: datetime, rule: Rule) -> Verdict:
    """Return what a station's traffic says at `now` (aware UTC), with its evidence, whatever its phase."""
    return assess(history.tallies, now, rule, blind=_state(history) is StationState.BLIND)


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
    found = _found(seen, history, now, rule, listening_since)
    return [found] if found and _is_news(found.kind, history, now) else []


def ended(history: History) -> list[PastNotice]:
    """Return the open notices whose spell has ended, so that nobody need see to them any more."""
    return [past for past in history.notices if past.acknowledged_at is None and _is_over(past, history)]


def _found(
    seen: Verdict, history: History, now: datetime, rule: Rule, listening_since: datetime | None
) -> Notice | None:
    site, station, luring = history.site, history.station, history.phase is Phase.LURING
    if luring and seen.step is Step.READY and seen.last:
        return notice(site, station, NoticeKind.READY, seen.last.to_at, ready_words(seen, rule))
    if luring and seen.step is Step.TOUCHED and seen.reached_at:
        return notice(site, station, NoticeKind.TOUCHED, seen.reached_at, touched_words(seen, rule))
    listened = listening_since is not None and (now - listening_since).total_seconds() > rule.silent_s
    if seen.reason is Reason.SILENT and history.phase in COUNTING and listened:
        last_at = seen.last.to_at if seen.last else None
        ahead = history.ahead_at - now if history.ahead_at else None
        return notice(site, station, NoticeKind.SILENT, now, silent_words(last_at, _state(history), ahead))
    return None


def _is_news(kind: NoticeKind, history: History, now: datetime) -> bool:
    """Tell whether neither this kind, nor one that holds its word, is open or resting."""
    saying = {kind} | {later for later, earlier in SUPERSEDES.items() if kind in earlier}
    return not any(
        past.kind in saying and (past.acknowledged_at is None or now - past.acknowledged_at < REST)
        for past in history.notices
        if not _is_over(past, history)
    )


def _is_over(past: PastNotice, history: History) -> bool:
    """Tell whether a notice was of a silence that a later tally has broken."""
    return past.kind is NoticeKind.SILENT and bool(history.tallies) and history.tallies[-1].to_at > past.raised_at


def _state(history: History) -> StationState | None:
    return history.health.state if history.health else None
