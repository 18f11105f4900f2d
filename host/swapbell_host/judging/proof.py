"""Whether a swap worked: that the traffic has collapsed, and that wasps come back. Quiet is not dead."""

from datetime import datetime

from swapbell_host.judging.evidence import Evidence
from swapbell_host.judging.history import History, PastNotice
from swapbell_host.verifying.finding import S_PER_H, Finding, Side
from swapbell_models.notice import SWAP_CAUTION, Notice, NoticeKind
from swapbell_models.phase import Phase

# Our choice: traffic has collapsed where it fell by four fifths beyond chance: published trials of protein bait saw
# 74 to 99 %, most of them 93 % or more (Rust et al. 2016; doi 10.1080/09670874.2017.1308581).
COLLAPSED_MAX = 0.2
# Our choice: half a foraging day, so that no one shower makes a collapse.
WATCHED_MIN_S = 6 * S_PER_H
# Our choice: a third of what Spurr 1991 saw at baits after 4 weeks (30 %); less is worth no second round yet.
RETURNED_MIN = 0.1


def collapse(evidence: Evidence) -> Notice | None:
    """Say once after each swap that the traffic has collapsed, with its limits, against control stations if any."""
    found = _found(evidence, NoticeKind.COLLAPSED, NoticeKind.REINVASION)
    told = found.best if found else None
    if found is None or told is None or found.after.watched_s < WATCHED_MIN_S:
        return None
    if told.high is None or told.high > COLLAPSED_MAX:
        return None
    fell = (
        told.words
        if found.caution
        else f"Held against the control stations, {told.words[:1].lower()}{told.words[1:]}"
    )
    besides = found.caution or (f"Left out of them: {found.left}." if found.left else "")
    words = (
        f"the traffic has collapsed: {_seen(found.before)} before the swap, {_seen(found.after)} since fresh lure "
        f"hangs again{_beside(found)}. {fell}{' ' if besides else ''}{besides} Go on watching: wasps may come back."
    )
    return evidence.look.notice(NoticeKind.COLLAPSED, evidence.now, words)


def reinvasion(evidence: Evidence) -> Notice | None:
    """Say once after each collapse that wasps come back, beyond chance."""
    found = _found(evidence, NoticeKind.REINVASION)
    if found is None or found.rebound is None or not evidence.since(_swapped_at(evidence), NoticeKind.COLLAPSED):
        return None
    low = found.rebound.against_before.low
    if not found.rebound.is_returning or low is None or low < RETURNED_MIN:
        return None
    words = f"wasps come back. {found.rebound.words} {SWAP_CAUTION}"
    return evidence.look.notice(NoticeKind.REINVASION, evidence.now, words)


def is_off(_past: PastNotice, history: History) -> bool:
    """Tell whether the station verifies no more."""
    return history.phase is not Phase.VERIFYING


def _found(evidence: Evidence, *told: NoticeKind) -> Finding | None:
    """Return what became of the traffic of a station that verifies; nothing if some kind was told since the swap."""
    since, phase = _swapped_at(evidence), evidence.look.history.phase
    if phase is not Phase.VERIFYING or since is None or evidence.since(since, *told):
        return None
    return evidence.finding


def _swapped_at(evidence: Evidence) -> datetime | None:
    job = evidence.look.history.job
    return job.swapped_at if job else None


def _beside(found: Finding) -> str:
    """Say what the control stations saw meanwhile."""
    if not found.controls:
        return ""
    before, after = found.controls
    return f", while the control stations had {_seen(before)} before and {_seen(after)} since"


def _seen(side: Side) -> str:
    return f"{side.visits} visits in {side.watched_s / S_PER_H:.1f} h"
