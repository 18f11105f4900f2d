"""The call to swap: that the rule was touched, and that it was confirmed, at a station and over its whole site.

A station is called by its own traffic, and by that of its whole site once the mean over it is ready. Stations of a
site share nests and are best swapped together, so each call says how the site stands.
"""

from collections.abc import Iterator

from swapbell_host.jobs.entry import Entry
from swapbell_host.jobs.sightings import seen_words
from swapbell_host.judging.history import History, PastNotice
from swapbell_host.judging.look import Look
from swapbell_models.notice import (
    SWAP_CAUTION,
    Notice,
    NoticeKind,
    count_words,
    ready_words,
    touched_words,
)
from swapbell_models.phase import Phase
from swapbell_models.readiness import Step
from swapbell_models.sitewide import SiteVerdict

CALLS = frozenset({NoticeKind.READY, NoticeKind.SWAP_OVERDUE})
TOGETHER = "Swap its stations together, but none that others visit"
ALONE = "Its stations share nests: better swap them together, once it is ready"
NOT_YET = "do not swap before somebody has looked"


def called(step: Step, site: SiteVerdict | None) -> Step:
    """Return how far a station has come whose own traffic has come so far; its site is nothing if it is alone."""
    return site.called(step) if site else step


def call(look: Look) -> Notice | None:
    """Say that the rule was reached, where a swap is what comes next."""
    seen = look.verdict
    step = called(seen.step, look.site)
    if not look.history.swaps or step not in {Step.READY, Step.TOUCHED} or _is_answered(look):
        return None
    at = seen.last.to_at if seen.last else look.now
    if step is Step.READY:
        return look.notice(NoticeKind.READY, at, _held(look.history, _ready(look)))
    return look.notice(NoticeKind.TOUCHED, seen.reached_at or at, touched_words(seen, look.rule))


def beside(site: SiteVerdict) -> str:
    """Say how the whole site stands, and what that means for a call to swap one of its stations."""
    return f"The site as a whole is {site.words}. {TOGETHER if site.step is Step.READY else ALONE}"


def _ready(look: Look) -> str:
    seen, rule = look.verdict, look.rule
    whole = f"{beside(look.site)}." if look.site else ""
    if seen.step is Step.READY:
        return ready_words(seen, rule, whole)
    return (
        f"ready for the swap with its whole site. {whole} At this station: {count_words(seen, rule)}. {SWAP_CAUTION}"
    )


def _is_answered(look: Look) -> bool:
    """Tell whether fresh lure was logged since the traffic of the look: whoever put it in chose not to swap."""
    fresh_at = look.history.job.fresh_at if look.history.job else None
    seen = look.verdict
    begin_at = seen.windows[0].from_at if seen.windows else None
    since_at = seen.reached_at if seen.step is Step.TOUCHED else begin_at
    return fresh_at is not None and since_at is not None and since_at < fresh_at


def _held(history: History, words: str) -> str:
    """Return the words of a call, its warnings before them: who reads only the beginning must not swap."""
    warnings = "; ".join(_warnings(history))
    return f"{NOT_YET}: {warnings}. By its counts it is {words}" if warnings else words


def _warnings(history: History) -> Iterator[str]:
    if warning := history.open(NoticeKind.VISITORS):
        yield f"notice {warning.id} warns of visitors that may be no wasps"
    if seen := history.sighting:
        yield _seen(seen)


def sighting(look: Look) -> Notice | None:
    """Warn of other visitors that somebody logged after the call to swap, which could not tell of them."""
    seen, history = look.history.sighting, look.history
    if seen is None or not history.swaps:
        return None
    if not any(past.kind in CALLS and past.raised_at <= seen.logged_at for past in history.notices):
        return None
    words = f"{NOT_YET}: {_seen(seen)}. Once nobody else comes, log none, and answer that this is seen to."
    return look.notice(NoticeKind.VISITORS, seen.at, words)


def _seen(entry: Entry) -> str:
    return seen_words(entry, f"{entry.at:%Y-%m-%d %H:%M} UTC")


def is_off(past: PastNotice, history: History) -> bool:
    """Tell whether the station lures no more, or with fresh lure, which answered the notice."""
    fresh_at = history.job.fresh_at if history.job else None
    return history.phase is not Phase.LURING or (fresh_at is not None and past.raised_at < fresh_at)
