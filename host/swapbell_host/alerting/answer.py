"""What a person answers to a notice: seen to it, or later."""

from datetime import datetime, timedelta

from swapbell_host.alerting.outbox import Notices, OpenNotice
from swapbell_host.alerting.policy import held_by
from swapbell_models.fault import Mistake
from swapbell_models.notice import Notice, NoticeKind
from swapbell_models.quantity import lasting

# Our choice: whoever wants to hear nothing for longer than a lure stays fresh should rather acknowledge it.
SHELF_MAX = timedelta(days=7)
# Our choice: toxic bait that is out is put off for as long as an acknowledgement lasts, and no longer.
SHELF_TOXIC_MAX = timedelta(hours=4)


def acknowledge(notices: Notices, notice_id: int, at: datetime, by: str | None = None) -> list[Notice]:
    """Close a notice and what its word holds, and return them.

    Raises
    ------
    Mistake
        If no notice of that number is open.
    """
    still_open = notices.open_notices()
    meant = _meant(still_open, notice_id)
    closed = [entry for entry in still_open if entry.id == notice_id or entry.key in held_by(meant)]
    return [entry.notice for entry in closed if notices.acknowledge(entry.id, at, by)]


def acknowledge_all(notices: Notices, at: datetime, by: str | None = None) -> list[Notice]:
    """Close every open notice, and return them."""
    return [entry.notice for entry in notices.open_notices() if notices.acknowledge(entry.id, at, by)]


def shelve(notices: Notices, notice_id: int, span: timedelta, at: datetime, by: str | None = None) -> OpenNotice:
    """Let nobody be told of a notice for a while from `at` (aware UTC), and return it as it stood.

    Raises
    ------
    Mistake
        If no notice of that number is open, or the while is too long.
    """
    meant = _meant(notices.open_notices(), notice_id)
    toxic = meant.notice.kind in {NoticeKind.LEFT_OUT, NoticeKind.DUE_OUT}
    try:
        until_at = at + lasting(f"notice {notice_id}: shelving", span, SHELF_TOXIC_MAX if toxic else SHELF_MAX)
    except ValueError as error:
        raise Mistake(str(error)) from error
    notices.shelve(notice_id, until_at, by)
    return meant


def _meant(still_open: list[OpenNotice], notice_id: int) -> OpenNotice:
    meant = next((entry for entry in still_open if entry.id == notice_id), None)
    if meant is None:
        numbers = ", ".join(str(entry.id) for entry in still_open) or "none"
        raise Mistake(f"notice {notice_id} is not open; open are: {numbers}")
    return meant
