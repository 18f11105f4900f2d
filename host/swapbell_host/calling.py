"""The call to swap as the pages say it: by the station, by its whole site, and not while others visit. Pure."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime

from swapbell_host.board import Seen
from swapbell_host.jobs.sightings import seen_ago
from swapbell_host.judging.swap import CALLS, beside, called
from swapbell_host.needs import Call, Case, Need
from swapbell_models.notice import Notice, NoticeKind
from swapbell_models.readiness import Step, Verdict
from swapbell_models.sitewide import SiteVerdict


def of_rule(case: Case, seen: Verdict, look: Seen) -> Iterator[Call]:
    """Yield the call to swap a station, or to get ready for it, by a look and the verdict on its whole site."""
    calls = [past.raised_at for past in look.history.notices if past.kind in CALLS]
    told_at = min((at for at in calls if at >= case.job.logged_at), default=None)  # fresh lure waits for another call
    step = called(seen.step, case.site)
    if step is Step.READY:
        since_at = min(at for at in (seen.reached_at, told_at, look.at) if at)
        yield Call(Need.SWAP, _ready_words(seen, case.site), None, since_at, NoticeKind.READY)
    elif told_at is not None:
        yield Call(Need.SWAP, _called_words(case.site), None, told_at, NoticeKind.READY)
    elif step is Step.TOUCHED:
        words = "the rule was reached once, not confirmed yet: wait"
        yield Call(Need.COMING, words, None, seen.reached_at, NoticeKind.TOUCHED)


def _ready_words(seen: Verdict, site: SiteVerdict | None) -> str:
    own = "the rule is reached and confirmed"
    if seen.step is not Step.READY:
        here = "nobody can say how many come here" if seen.step is Step.UNJUDGED else "fewer come here"
        own = f"its site is ready, although {here}"
    return f"{own}. {beside(site)}" if site else own


def _called_words(site: SiteVerdict | None) -> str:
    now = f". The site as a whole is now {site.words}" if site else ""
    return f"the rule was reached and confirmed, and no swap is logged yet{now}"


def held_back(call: Call, case: Case, now: datetime) -> Call:
    """Return a call to swap as one to look first, where other visitors were counted or seen."""
    warning = _caution(case, now)
    if call.need is not Need.SWAP or not warning:
        return call
    return replace(call, need=Need.LOOK_FIRST, words=f"{warning}. By its counts: {call.words}")


def _caution(case: Case, now: datetime) -> str:
    """Return who else was counted or seen at the lure, as of `now` (aware UTC), for whoever is about to swap."""
    counted = NoticeKind.VISITORS in {*case.shelved, *(notice.kind for notice in others(case))}
    told = ["other visitors were warned of: look who they are before anything is swapped"] if counted else []
    return "; ".join([*([seen_ago(case.sighting, now)] if case.sighting else []), *told])


def others(case: Case) -> Iterator[Notice]:
    """Yield the notices that say something else than who was seen: that is said by the log itself."""
    seen_at = case.sighting and case.sighting.at
    return (each for each in case.notices if each.kind is not NoticeKind.VISITORS or each.raised_at != seen_at)
