"""The buttons beside a notice: seen to it, and later."""

import re
from dataclasses import dataclass
from datetime import datetime, timedelta

from swapbell_host.alerting.answer import SHELF_TOXIC_MAX, acknowledge, shelve
from swapbell_host.alerting.outbox import OpenNotice
from swapbell_host.jobs.account import Right
from swapbell_host.page.door import Door
from swapbell_host.page.visit import Go, Visit
from swapbell_models.fault import Mistake
from swapbell_models.notice import NoticeKind, Urgency

# Our choice: until the next look, until tomorrow, until the end of a short holiday; toxic bait only the first.
SHELVES = (
    (timedelta(hours=1), "1 hour"),
    (timedelta(hours=4), "4 hours"),
    (timedelta(hours=24), "1 day"),
    (timedelta(days=3), "3 days"),
)
_NUMBER = re.compile("[0-9]{1,18}")
_STATION = re.compile(r"/station/[A-Za-z0-9][\w-]{0,62}/[A-Za-z0-9][\w-]{0,62}", re.ASCII)


@dataclass(frozen=True, slots=True)
class Card:
    """An open notice as a page shows it.

    Attributes
    ----------
    words
        What it says, without the station's name.
    act
        Whether it asks somebody to act, and not only to look.
    shelved_until
        Until when it is put off, aware UTC; nothing if it is not.
    shelves
        For how long it may be put off: hours and words.
    """

    id: int
    site: str
    station: str
    kind: str
    words: str
    act: bool
    raised_at: datetime
    times_told: int
    shelved_until: datetime | None
    shelves: tuple[tuple[str, str], ...]


def card(entry: OpenNotice, now: datetime) -> Card:
    """Return what a page shows of an open notice at `now` (aware UTC)."""
    notice = entry.notice
    most = SHELF_TOXIC_MAX if notice.kind in {NoticeKind.LEFT_OUT, NoticeKind.DUE_OUT} else timedelta.max
    return Card(
        entry.id,
        notice.site,
        notice.station,
        notice.kind.value,
        notice.words,
        notice.urgency is Urgency.ACT,
        notice.raised_at,
        entry.times_told,
        entry.shelved_until if entry.shelved(now) else None,
        tuple((f"{span / timedelta(hours=1):g}", words) for span, words in SHELVES if span <= most),
    )


def seen_to(visit: Visit) -> Go:
    """Acknowledge a notice."""
    try:
        closed = acknowledge(visit.house.notebook, _number(visit), visit.at, _who(visit))
    except Mistake as mistake:
        return Go(_back(visit), said=f"{mistake}.")
    return Go(_back(visit), said=f"Seen to: {', '.join(notice.kind.value for notice in closed)}.")


def later(visit: Visit) -> Go:
    """Put a notice off for a while."""
    try:
        entry = shelve(visit.house.notebook, _number(visit), _span(visit), visit.at, _who(visit))
    except Mistake as mistake:
        return Go(_back(visit), said=f"{mistake}.")
    return Go(_back(visit), said=f"Put off: {entry.notice.kind.value}.")


def _number(visit: Visit) -> int:
    if not _NUMBER.fullmatch(visit.path["id"]):
        raise Mistake("a notice is named by its number")
    return int(visit.path["id"])


def _span(visit: Visit) -> timedelta:
    asked = visit.form.get("hours", "")
    choice = {f"{span / timedelta(hours=1):g}": span for span, _ in SHELVES}
    if asked not in choice:
        raise Mistake(f"a notice can be put off for {', '.join(words for _, words in SHELVES)}")
    return choice[asked]


def _who(visit: Visit) -> str | None:
    return visit.account.name if visit.account else None


def _back(visit: Visit) -> str:
    """Return the page that the button was on."""
    asked = visit.form.get("back", "/")
    return asked if _STATION.fullmatch(asked) else "/"


DOORS = (
    Door("/notice/{id}/seen", seen_to, Right.WORK, "POST"),
    Door("/notice/{id}/later", later, Right.WORK, "POST"),
)
