"""What needs a person at each station, in what order, and why, in words. Pure: no clock, no disk, no network.

A station may need several things at once; each is a `Call`. Its task holds them all, the most pressing first, and
the tasks of all stations stand in the order of their first calls. What a person has shelved calls nobody until then,
except toxic bait: nobody shelves that by looking away.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from swapbell_host.calling import held_back, of_rule, others
from swapbell_host.jobs.entry import expected
from swapbell_host.jobs.plan import Station
from swapbell_host.judging.history import COUNTING
from swapbell_host.needs import ANSWERS, IDLE, WHILE, Call, Case, Need, soonest
from swapbell_models.job import Due, Job
from swapbell_models.notice import HINDRANCES, SUPERSEDES, Notice, NoticeKind, twofold_words
from swapbell_models.phase import Event, Phase
from swapbell_models.proof.rebound import LOOK_DAYS, looks
from swapbell_models.readiness import Reason, Verdict

# Our choice: half a day. What is due tomorrow morning goes on the round that is planned tonight.
AHEAD = timedelta(hours=12)
# Our choice: a look at the result may be had at any hour of its day.
LOOK = timedelta(days=1)
_TOXIC = frozenset({Need.LEFT_OUT, Need.DUE_OUT})


@dataclass(frozen=True, slots=True)
class Task:
    """A station and what it needs, the most pressing first; at least one call."""

    station: Station
    calls: tuple[Call, ...]

    @property
    def first(self) -> Call:
        """What it needs most."""
        return self.calls[0]

    @property
    def idle(self) -> bool:
        """Whether it needs nobody now."""
        return self.first.need in IDLE

    @property
    def order(self) -> tuple[int, datetime, datetime, str, str]:
        """What tasks are sorted by; no two stations share it."""
        return *self.first.order, *self.station.key


def tasks(cases: Iterable[Case], now: datetime) -> list[Task]:
    """Return what every station needs at `now` (aware UTC), the most pressing first; none is left out."""
    return sorted((task(case, now) for case in cases), key=lambda each: each.order)


def task(case: Case, now: datetime) -> Task:
    """Return what one station needs at `now` (aware UTC)."""
    known = (*_of_job(case, now), *_of_loss(case.job, now), *_of_proof(case.job, now), *_of_traffic(case))
    found = [call for call in known if not _shelved(call, case)]
    said = {call.kind for call in found}
    calls = [
        *found,
        *(call for call in map(_of_notice, others(case)) if call.kind not in said and _stands(call, case)),
    ]
    held = {kind for call in calls if call.kind for kind in SUPERSEDES.get(call.kind, ())}
    left = (held_back(call, case, now) for call in calls if call.kind not in held)
    kept = sorted(left, key=lambda call: call.order)
    return Task(case.station, tuple(kept) or (_rest(case),))


def _shelved(call: Call, case: Case) -> bool:
    return call.kind in case.shelved and call.need not in _TOXIC


def _stands(call: Call, case: Case) -> bool:
    """Tell whether the job has not answered yet what a notice asks for: a call to swap, also by fresh lure."""
    answered = call.need is Need.SWAP and call.since_at is not None and call.since_at < case.job.logged_at
    return not answered and case.job.phase in WHILE.get(call.need, frozenset(Phase))


def _of_job(case: Case, now: datetime) -> Iterator[Call]:
    """Yield what its job expects now, or within `AHEAD`."""
    for due in expected(case.job, case.station.role):
        soon_at = due.by_at and due.by_at - AHEAD
        soon = soon_at is not None and soon_at <= now
        match due.event:
            case Event.WITHDRAWN if case.job.phase is Phase.OVERDUE:
                words = (
                    "its deadline has passed: weigh it back, and log it as withdrawn, or lost if nobody can find it"
                )
                yield Call(Need.LEFT_OUT, words, due.by_at, due.by_at, NoticeKind.LEFT_OUT)
            case Event.WITHDRAWN if soon:
                yield Call(Need.DUE_OUT, due.words, due.by_at, soon_at, NoticeKind.DUE_OUT)
            case Event.DISPOSED:
                yield Call(Need.DISPOSE, due.words, due.by_at, case.job.withdrawn_at)
            case Event.RELURED:
                yield Call(Need.VERIFY, due.words, due.by_at, case.job.withdrawn_at)
            case Event.CLOSED if soon:
                yield Call(Need.VERIFY, due.words, due.by_at, soon_at)
            case Event.REFRESHED if soon:
                yield Call(Need.REFRESH, due.words, due.by_at, soon_at)
            case Event.LURED:
                yield Call(Need.HANG, due.words, due.by_at, case.station.made_at)
            case _:
                pass


def _of_loss(job: Job, now: datetime) -> Iterator[Call]:
    """Yield the search for toxic bait that was lost, for as long as its site would have been watched."""
    if job.lost and now < job.logged_at + job.terms.watch:
        words = (
            "toxic bait was logged as lost here: look for it whenever somebody passes, keep children and animals "
            "away, and tell whom its label and local law name. Once it is found, correct that entry to withdrawn"
        )
        yield Call(Need.LOST, words, None, job.logged_at)


def _of_proof(job: Job, now: datetime) -> Iterator[Call]:
    """Yield the look at what became of the traffic that falls on this day after the swap."""
    if job.phase is not Phase.VERIFYING or job.swapped_at is None:
        return
    for days, look_at in zip(LOOK_DAYS, looks(job.swapped_at), strict=True):
        if look_at <= now < look_at + LOOK:
            words = f"day {days} after the swap: look on the page Verify whether the traffic has really fallen"
            yield Call(Need.VERIFY, words, look_at + LOOK, look_at)


def _of_traffic(case: Case) -> Iterator[Call]:
    """Yield what the latest look says, whether or not a notice says it too."""
    if case.seen is None:
        return
    seen = case.seen.verdict
    if case.swaps:
        yield from of_rule(case, seen, case.seen)
    if case.job.phase in COUNTING:
        yield from _of_counter(seen)


def _of_counter(seen: Verdict) -> Iterator[Call]:
    if seen.reason is Reason.SILENT:
        words = "no count comes from it: look at its power, its camera and its link"
        yield Call(Need.COUNTER, words, None, seen.last.to_at if seen.last else None, NoticeKind.SILENT)
    elif seen.reason is Reason.TWOFOLD:
        yield Call(Need.COUNTER, twofold_words(), None, None, NoticeKind.TWOFOLD)
    elif seen.reason is Reason.BLIND and seen.long_blind:
        why = HINDRANCES[seen.hindrance] if seen.hindrance else "it does not say why"
        yield Call(Need.COUNTER, f"it cannot count: {why}", None, seen.windows[0].from_at, NoticeKind.BLIND)


def _of_notice(notice: Notice) -> Call:
    return Call(ANSWERS[notice.kind], notice.words, None, notice.raised_at, notice.kind)


def _rest(case: Case) -> Call:
    """Return the call of a station that needs nobody: what comes next, and by when."""
    if case.job.phase in {Phase.CLOSED, Phase.ABANDONED}:
        lost = "; its toxic bait was never found" if case.job.lost else ""
        return Call(Need.ENDED, f"the job is {case.job.phase.value}{lost}", None, case.job.logged_at)
    due = _next(expected(case.job, case.station.role))
    if due is None:
        return Call(Need.NOTHING, "nothing is expected of it", None, case.job.logged_at)
    return Call(Need.NOTHING, f"next: {due.words}", due.by_at, case.job.logged_at)


def _next(dues: Iterable[Due]) -> Due | None:
    return min(dues, key=lambda due: soonest(due.by_at), default=None)
