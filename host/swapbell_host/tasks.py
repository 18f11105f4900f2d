"""What needs a person at each station, in what order, and why, in words. Pure: no clock, no disk, no network.

A station may need several things at once; each is a `Call`. Its task holds them all, the most pressing first, and
the tasks of all stations stand in the order of their first calls. What a person has shelved calls nobody until then,
except toxic bait: nobody shelves that by looking away.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from swapbell_host.board import Seen
from swapbell_host.jobs.entry import Entry, expected
from swapbell_host.jobs.plan import Role, Station
from swapbell_host.jobs.sightings import seen_ago
from swapbell_host.judging.history import COUNTING
from swapbell_host.judging.swap import CALLS, called
from swapbell_host.needs import ANSWERS, IDLE, WHILE, Call, Need, soonest
from swapbell_models.job import Due, Job
from swapbell_models.notice import HINDRANCES, SUPERSEDES, Notice, NoticeKind, twofold_words
from swapbell_models.phase import Event, Phase
from swapbell_models.proof.rebound import LOOK_DAYS, looks
from swapbell_models.readiness import Reason, Step, Verdict
from swapbell_models.sitewide import SiteVerdict

# Our choice: half a day. What is due tomorrow morning goes on the round that is planned tonight.
AHEAD = timedelta(hours=12)
# Our choice: a look at the result may be had at any hour of its day.
LOOK = timedelta(days=1)
_TOXIC = frozenset({Need.LEFT_OUT, Need.DUE_OUT})


@dataclass(frozen=True, slots=True)
class Case:
    """What is known of one station.

    Attributes
    ----------
    job
        Where its job stands now.
    seen
        The latest look at it; nothing if it was not judged yet.
    notices
        The open ones that are not shelved.
    shelved
        The kinds of the open ones that are.
    site
        The verdict on its whole site; nothing if it is alone there, or was not judged yet.
    sighting
        The entry of its log that names bees or other visitors at this lure; nothing where the last one says none.
    """

    station: Station
    job: Job
    seen: Seen | None = None
    notices: tuple[Notice, ...] = ()
    shelved: frozenset[NoticeKind] = field(default_factory=frozenset[NoticeKind])
    site: SiteVerdict | None = None
    sighting: Entry | None = None

    @property
    def swaps(self) -> bool:
        """Whether it waits with lure for its swap."""
        return self.job.phase is Phase.LURING and self.station.role is Role.BAIT


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
        *(call for call in map(_of_notice, case.notices) if call.kind not in said and _stands(call, case)),
    ]
    held = {kind for call in calls if call.kind for kind in SUPERSEDES.get(call.kind, ())}
    left = (_held_back(call, case, now) for call in calls if call.kind not in held)
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
                yield Call(Need.LEFT_OUT, due.words, due.by_at, due.by_at, NoticeKind.LEFT_OUT)
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
        yield from _of_rule(case, seen, case.seen)
    if case.job.phase in COUNTING:
        yield from _of_counter(seen)


def _of_rule(case: Case, seen: Verdict, look: Seen) -> Iterator[Call]:
    calls = [past.raised_at for past in look.history.notices if past.kind in CALLS]
    told_at = min((at for at in calls if at >= case.job.logged_at), default=None)  # fresh lure waits for another call
    step = called(seen.step, case.site)
    if step is Step.READY:
        since_at = min(at for at in (seen.reached_at, told_at, look.at) if at)
        yield Call(Need.SWAP, _ready_words(seen, case.site), None, since_at, NoticeKind.READY)
    elif told_at is not None:
        yield Call(Need.SWAP, _called_words(case.site), None, told_at, NoticeKind.READY)
    elif step is Step.TOUCHED:
        yield Call(Need.COMING, _waiting_words(seen, case.site), None, seen.reached_at, NoticeKind.TOUCHED)


def _ready_words(seen: Verdict, site: SiteVerdict | None) -> str:
    own = "the rule is reached and confirmed" if seen.step is Step.READY else "fewer come here, but the site is ready"
    return f"{own}. The site as a whole is {site.words}. Swap its stations together" if site else own


def _called_words(site: SiteVerdict | None) -> str:
    now = f". The site as a whole is now {site.words}" if site else ""
    return f"the rule was reached and confirmed, and no swap is logged yet{now}"


def _waiting_words(seen: Verdict, site: SiteVerdict | None) -> str:
    if seen.step is not Step.READY or site is None:
        return "the rule was reached once, not confirmed yet: wait"
    wait = "this station is ready, the site is not yet: wait, and swap its stations together when it is"
    return f"{wait}. The site as a whole is {site.words}"


def _held_back(call: Call, case: Case, now: datetime) -> Call:
    """Return a call to swap as one to look first, where other visitors were counted or seen."""
    warning = caution(case, now)
    if call.need is not Need.SWAP or not warning:
        return call
    return replace(call, need=Need.LOOK_FIRST, words=f"{warning}. By its counts: {call.words}")


def caution(case: Case, now: datetime) -> str:
    """Return who else was counted or seen at the lure, as of `now` (aware UTC), for whoever is about to swap."""
    counted = NoticeKind.VISITORS in {*case.shelved, *(notice.kind for notice in case.notices)}
    told = ["other visitors were warned of: look who they are before anything is swapped"] if counted else []
    return "; ".join([*([seen_ago(case.sighting, now)] if case.sighting else []), *told])


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
