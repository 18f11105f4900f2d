"""The call to swap: that the rule was touched, and that it was confirmed."""

from swapbell_host.judging.history import History, PastNotice
from swapbell_host.judging.look import Look
from swapbell_models.notice import Notice, NoticeKind, ready_words, touched_words
from swapbell_models.phase import Phase
from swapbell_models.readiness import Step
from swapbell_models.sitewide import SiteVerdict


def call(look: Look) -> Notice | None:
    """Say that the rule was reached, where a swap is what comes next."""
    seen = look.verdict
    if not look.history.swaps:
        return None
    if seen.step is Step.READY and seen.last:
        return look.notice(NoticeKind.READY, seen.last.to_at, ready_words(seen, look.rule, _besides(look)))
    if seen.step is Step.TOUCHED and seen.reached_at:
        return look.notice(NoticeKind.TOUCHED, seen.reached_at, touched_words(seen, look.rule))
    return None


def _besides(look: Look) -> str:
    """Return what else a person must know before a swap: open warnings of visitors, and the other stations."""
    warning = look.history.open(NoticeKind.VISITORS)
    return " ".join(filter(None, (warning and warned(warning), look.site and beside(look.site))))


def warned(warning: PastNotice) -> str:
    """Say that somebody must look at the visitors first."""
    return (
        f"But notice {warning.id} warns of visitors that may be no wasps: do not swap before somebody has looked, "
        "and not while bees or others visit."
    )


def beside(site: SiteVerdict) -> str | None:
    """Say how the whole site stands, for its stations are swapped together; nothing of a single station."""
    if site.stations <= 1:
        return None
    mean = f"{site.means[-1]:.1f}" if site.means else "none counted"
    unseen = f", {site.unjudged} of them unjudged" if site.unjudged else ""
    told = f"The {site.stations} stations of the site{unseen} have {'at least ' if unseen else ''}{mean} on average"
    if site.step in {Step.READY, Step.TOUCHED}:
        return f"{told}, which reaches the rule, too: swap them together."
    return f"{told}, which is below the rule: stations share nests, so swap them together once the mean is there."


def is_off(_past: PastNotice, history: History) -> bool:
    """Tell whether the station lures no more."""
    return history.phase is not Phase.LURING
