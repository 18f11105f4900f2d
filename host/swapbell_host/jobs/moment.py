"""Moments as a person at the site says and reads them."""

import re
from datetime import UTC, datetime, timedelta, tzinfo
from zoneinfo import ZoneInfo

from swapbell_host.jobs.plan import shown
from swapbell_models.amount import amount
from swapbell_models.quantity import lasting

SPAN_S = {"s": 1.0, "min": 60.0, "h": 3600.0, "d": 86_400.0}
_UTC = re.compile(r"(\d{4}-\d{2}-\d{2} \d{2}:\d{2}) UTC")


def moment(text: str, zone: ZoneInfo) -> datetime:
    """Return the moment, aware UTC, that a text means.

    Parameters
    ----------
    text : str
        ISO 8601, such as 2026-03-14 17:30, by the site's clock unless it says its offset.
    zone : ZoneInfo
        The site's.

    Raises
    ------
    ValueError
        If it cannot be read, or if the site's clock never showed that time or showed it twice.
    """
    try:
        read = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(
            f"time must read like 2026-03-14 17:30 or 2026-03-14T17:30+13:00, not {shown(text)}"
        ) from None
    if read.tzinfo is None:
        read = _placed(read, zone)
    try:
        return read.astimezone(UTC)
    except OverflowError:
        raise ValueError(f"time {shown(text)} lies beyond any calendar") from None


def twice(text: str, zone: ZoneInfo) -> tuple[datetime, ...]:
    """Return both moments, by the site's clock, of a time that it shows twice; nothing of any other text."""
    try:
        read = datetime.fromisoformat(text)
    except ValueError:
        return ()
    if read.tzinfo is not None:
        return ()
    both = (read.replace(tzinfo=zone), read.replace(tzinfo=zone, fold=1))
    shown_so = [at.astimezone(UTC).astimezone(zone).replace(tzinfo=None) == read for at in both]
    return both if all(shown_so) and both[0].utcoffset() != both[1].utcoffset() else ()


def local(at: datetime, zone: ZoneInfo) -> str:
    """Return a moment by the site's clock, with its offset."""
    return f"{at.astimezone(zone):%Y-%m-%d %H:%M %z}"


def by_clock(at: datetime, zone: tzinfo) -> str:
    """Return a moment by the site's clock, with the zone's abbreviation."""
    return f"{at.astimezone(zone):%Y-%m-%d %H:%M %Z}"


def localized(text: str, zone: tzinfo) -> str:
    """Return a text with its moments, written like 2026-02-03 01:00 UTC, by the site's clock."""
    return _UTC.sub(lambda found: _relocated(found, zone), text)


def _relocated(found: re.Match[str], zone: tzinfo) -> str:
    try:
        return by_clock(datetime.fromisoformat(found[1]).replace(tzinfo=UTC), zone)
    except ValueError:  # it only looks like a moment
        return found[0]


def span(name: str, text: str, longest: timedelta) -> timedelta:
    """Return the stretch of time that a text such as 2 h means, or refuse none and what is beyond the longest."""
    seconds = amount(name, text, SPAN_S)
    return lasting(name, timedelta(seconds=min(seconds, 2.0 * longest.total_seconds())), longest)


def _placed(read: datetime, zone: ZoneInfo) -> datetime:
    """Return a local time with its zone; where the clock is set back or forward, it may mean two moments or none."""
    first, second = read.replace(tzinfo=zone), read.replace(tzinfo=zone, fold=1)
    if first.utcoffset() != second.utcoffset():
        raise ValueError(
            f"time {read:%Y-%m-%d %H:%M} is not one moment in {zone.key}, whose clock was being changed; say its "
            f"offset, as in {read:%Y-%m-%dT%H:%M}+00:00"
        )
    return first
