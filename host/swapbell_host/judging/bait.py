"""Toxic bait that is out: when it is due, and when it was left out."""

from datetime import timedelta

from swapbell_host.judging.history import TOXIC_OUT, History, PastNotice
from swapbell_host.judging.look import Look
from swapbell_models.notice import Notice, NoticeKind, due_out_words, left_out_words
from swapbell_models.phase import Event, Phase

# Our choice: then a person's round-up, of which there is one a day, names it half a day ahead or more.
DUE_AHEAD = timedelta(hours=36)


def out(look: Look) -> Notice | None:
    """Say what a job says of toxic bait: that it is due out soon, or left out."""
    job = look.history.job
    due = next((due for due in job.expects if due.event is Event.WITHDRAWN), None) if job else None
    if job is None or due is None or due.by_at is None or job.swapped_at is None:
        return None
    kind, words = NoticeKind.DUE_OUT, due_out_words
    if job.phase is Phase.OVERDUE:
        kind, words = NoticeKind.LEFT_OUT, left_out_words
    elif look.now < due.by_at - DUE_AHEAD:
        return None
    return look.notice(kind, look.now, words(job.swapped_at, due.by_at))


def is_in(_past: PastNotice, history: History) -> bool:
    """Tell whether it is logged that the bait was withdrawn, or lost."""
    return history.phase not in TOXIC_OUT
