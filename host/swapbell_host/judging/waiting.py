"""Before and after the call to swap: that it is likely tomorrow, and that nobody has answered it."""

from datetime import timedelta

from swapbell_host.judging.evidence import Evidence
from swapbell_host.judging.history import PastNotice
from swapbell_models.notice import SWAP_CAUTION, Notice, NoticeKind
from swapbell_models.readiness import Step

# Our choice: a day. Who is called in the morning can go in the cool of that evening or of the next morning; then the
# lure dries, and by its third day it draws no more (common practice, no source).
OVERDUE_AFTER = timedelta(days=1)
# Our choice: a day and a half, as long as a forecast of a day ahead reaches; then its day has passed.
FORECAST_LASTS = timedelta(hours=36)

_CALLS = (NoticeKind.TOUCHED, NoticeKind.READY, NoticeKind.SWAP_OVERDUE)


def ahead(evidence: Evidence) -> Notice | None:
    """Say a day ahead that the call is likely; not where it came, or nearly came, already."""
    history = evidence.look.history
    since = evidence.now - FORECAST_LASTS
    if evidence.forecast is None or not history.swaps or evidence.since(since, NoticeKind.FORECAST, *_CALLS):
        return None
    return evidence.look.notice(NoticeKind.FORECAST, evidence.now, evidence.forecast)


def has_passed(past: PastNotice, evidence: Evidence) -> bool:
    """Tell whether the day that a forecast meant has passed."""
    return evidence.now - past.raised_at >= FORECAST_LASTS


def overdue(evidence: Evidence) -> Notice | None:
    """Say that the call to swap was not answered for long; a warning of visitors, or who was seen, holds it back.

    What was logged since the call, such as fresh lure, shows that somebody was there and chose not to swap: then only
    a later call counts. Whoever put a call off until some time is left alone until then.
    """
    history = evidence.look.history
    calls = evidence.since(history.job.logged_at if history.job else None, NoticeKind.READY)
    if not calls or not history.swaps or history.sighting or evidence.open(NoticeKind.VISITORS):
        return None
    called_at = calls[0].raised_at
    is_put_off = any(call.shelved_until and call.shelved_until > evidence.now for call in calls)
    if is_put_off or evidence.now - called_at < OVERDUE_AFTER:
        return None
    words = (
        f"ready for the swap since {called_at:%Y-%m-%d %H:%M} UTC, and no swap is logged. {_traffic(evidence)} Swap, "
        f"or log what was done instead: the season or the bait may be gone soon. {SWAP_CAUTION}"
    )
    return evidence.look.notice(NoticeKind.SWAP_OVERDUE, evidence.now, words)


def _traffic(evidence: Evidence) -> str:
    """Say how the traffic stands now."""
    seen, rule = evidence.look.verdict, evidence.look.rule
    if seen.step is Step.UNJUDGED or seen.last is None:
        return f"At the moment nobody can say ({seen.reason.value if seen.reason else 'no count'})."
    return f"Now: {seen.last.counted} visits in {rule.window_s / 60:g} min ({seen.step.value}, rule: {rule.visits})."
