"""Whether a station counts at all: that it is silent, or that its counter cannot count."""

from swapbell_host.judging.history import COUNTING, History, PastNotice
from swapbell_host.judging.look import Look
from swapbell_models.notice import Notice, NoticeKind, blind_words, silent_words, twofold_words
from swapbell_models.readiness import UNWATCHED_SHARE_MAX, Reason, is_twofold


def silence(look: Look) -> Notice | None:
    """Say that no count comes from where one is expected."""
    seen, history = look.verdict, look.history
    if seen.reason is not Reason.SILENT or history.phase not in COUNTING or not _has_listened(look):
        return None
    last_at = seen.last.to_at if seen.last else None
    ahead = history.ahead_at - look.now if history.ahead_at else None
    return look.notice(NoticeKind.SILENT, look.now, silent_words(last_at, history.state, ahead))


def _has_listened(look: Look) -> bool:
    since = look.listening_since
    return since is not None and (look.now - since).total_seconds() > look.rule.silent_s


def blindness(look: Look) -> Notice | None:
    """Say that the counter has not been able to count for a whole look."""
    seen = look.verdict
    if seen.reason is not Reason.BLIND or look.history.phase not in COUNTING:
        return None
    if not seen.long_blind or not seen.last:
        return None
    return look.notice(NoticeKind.BLIND, seen.last.to_at, blind_words(seen.windows[0].from_at, seen.hindrance))


def twofold(look: Look) -> Notice | None:
    """Say that two counters report under one name."""
    if look.verdict.reason is not Reason.TWOFOLD:
        return None
    return look.notice(NoticeKind.TWOFOLD, look.now, twofold_words())


def is_one(_past: PastNotice, history: History) -> bool:
    """Tell whether what is remembered is again of one counter at a time."""
    return not is_twofold(history.tallies)


def is_heard(past: PastNotice, history: History) -> bool:
    """Tell whether a tally has broken a silence, or nobody expects one any more."""
    tallies = history.tallies
    return history.phase not in COUNTING or (bool(tallies) and tallies[-1].to_at > past.raised_at)


def is_counting(past: PastNotice, history: History) -> bool:
    """Tell whether a later tally was watched, or nobody expects one any more."""
    later = [tally for tally in history.tallies[-1:] if tally.to_at > past.raised_at]
    watched = any(tally.watched_s > (1.0 - UNWATCHED_SHARE_MAX) * tally.seconds for tally in later)
    return history.phase not in COUNTING or watched


def is_off(_past: PastNotice, history: History) -> bool:
    """Tell whether nobody expects a count."""
    return history.phase not in COUNTING
