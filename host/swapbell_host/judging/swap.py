"""The call to swap: that the rule was touched, and that it was confirmed."""

from swapbell_host.judging.history import History, PastNotice
from swapbell_host.judging.look import Look
from swapbell_models.notice import SWAP_CAUTION, Notice, NoticeKind, ready_words, touched_words
from swapbell_models.phase import Phase
from swapbell_models.readiness import Step
from swapbell_models.sitewide import SiteVerdict


def call(look: Look) -> Notice | None:
    """Say that the rule was reached, where a swap is what comes next: at the station, or on average at its site."""
    seen = look.verdict
    if not look.history.swaps or seen.last is None:
        return None
    if seen.step is Step.READY:
        return look.notice(NoticeKind.READY, seen.last.to_at, ready_words(seen, look.rule, _besides(look)))
    if seen.step is not Step.TOUCHED or seen.reached_at is None:
        return None
    if look.site and look.site.step is Step.READY:
        words = f"ready for the swap with its whole site. {_besides(look)} {SWAP_CAUTION}"
        return look.notice(NoticeKind.READY, seen.last.to_at, words)
    return look.notice(NoticeKind.TOUCHED, seen.reached_at, touched_words(seen, look.rule))


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
    unseen = f" ({site.unjudged} of them unjudged)" if site.unjudged else ""
    means = ", ".join(f"{mean:.1f}" for mean in site.means) or "none counted"
    told = f"On average the {site.stations} stations of the site{unseen} have {'at least ' if unseen else ''}{means}"
    if site.step is Step.READY:
        return f"{told}: the site is ready, swap them together."
    return f"{told}: the site is not ready. Stations share nests: better swap them together once it is."


def is_off(_past: PastNotice, history: History) -> bool:
    """Tell whether the station lures no more."""
    return history.phase is not Phase.LURING
