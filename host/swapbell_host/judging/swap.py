"""The call to swap: that the rule was touched, and that it was confirmed."""

from datetime import datetime

from swapbell_host.judging.history import History, PastNotice
from swapbell_host.judging.look import Look
from swapbell_models.notice import SWAP_CAUTION, Notice, NoticeKind, ready_words, touched_words
from swapbell_models.phase import Phase
from swapbell_models.readiness import Rule, Step
from swapbell_models.sitewide import SiteVerdict


def call(look: Look) -> Notice | None:
    """Say that the rule was reached, where a swap is what comes next: at the station, or on average at its site."""
    seen = look.verdict
    if not look.history.swaps or seen.last is None or _is_answered(look):
        return None
    beside = _beside(look.site, look.rule) if look.site else ""
    if seen.step is Step.READY:
        return _ready(look, seen.last.to_at, ready_words(seen, look.rule, beside))
    if seen.step is not Step.TOUCHED or seen.reached_at is None:
        return None
    if look.site and look.site.step is Step.READY:
        return _ready(look, seen.last.to_at, f"ready for the swap with its whole site. {beside} {SWAP_CAUTION}")
    return look.notice(NoticeKind.TOUCHED, seen.reached_at, touched_words(seen, look.rule))


def _is_answered(look: Look) -> bool:
    """Tell whether fresh lure was logged since the traffic of the look: whoever put it in chose not to swap."""
    fresh_at = look.history.job.fresh_at if look.history.job else None
    seen = look.verdict
    if fresh_at is None:
        return False
    since_at = seen.reached_at if seen.step is Step.TOUCHED else seen.windows[0].from_at
    return since_at is not None and since_at < fresh_at


def _ready(look: Look, at: datetime, words: str) -> Notice:
    """Return the call, an open warning of visitors before it: who reads only the beginning must not swap."""
    if warning := look.history.open(NoticeKind.VISITORS):
        words = (
            f"do not swap before somebody has looked: notice {warning.id} warns of visitors that may be no wasps. By "
            f"its counts it is {words}"
        )
    return look.notice(NoticeKind.READY, at, words)


def _beside(site: SiteVerdict, rule: Rule) -> str:
    """Say how the whole site stands, for its stations are swapped together; nothing of a single station."""
    if site.stations <= 1:
        return ""
    unseen = f" ({site.unjudged} of them unjudged)" if site.unjudged else ""
    means = ", ".join(f"{mean:.1f}" for mean in site.means)
    counts = f"{'at least ' if unseen else ''}{means} in {rule.window_s / 60:g} min"
    told = f"On average the {site.stations} stations of the site{unseen} have {counts}"
    if site.step is Step.READY:
        return f"{told}: the site is ready, swap them together."
    return f"{told}: the site is not ready. Stations share nests: better swap them together once it is."


def is_off(past: PastNotice, history: History) -> bool:
    """Tell whether the station lures no more, or with fresh lure, which answered the notice."""
    fresh_at = history.job.fresh_at if history.job else None
    return history.phase is not Phase.LURING or (fresh_at is not None and past.raised_at < fresh_at)
