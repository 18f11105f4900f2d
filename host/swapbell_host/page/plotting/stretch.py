"""Which stretch of time is shown: a day, a week or a season, up to now or to a day of the site's calendar."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from enum import Enum
from zoneinfo import ZoneInfo

from swapbell_models.job import WATCH_MAX


class Span(Enum):
    """How much is shown at once."""

    DAY = "day"
    WEEK = "week"
    SEASON = "season"


# A season is as long as a job may watch at most.
DAYS = {Span.DAY: 1, Span.WEEK: 7, Span.SEASON: WATCH_MAX.days}


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of time.

    Attributes
    ----------
    on
        The day that it ends with; nothing if it ends now.
    from_at, to_at
        Aware UTC.
    earlier, later
        The days that the stretches before and after it end with; nothing where there is nothing to see.
    """

    span: Span
    on: date | None
    from_at: datetime
    to_at: datetime
    earlier: date | None
    later: date | None


def stretch(span: Span, on: date | None, zone: ZoneInfo, began_at: datetime, now: datetime) -> Stretch:
    """Return what is shown.

    Parameters
    ----------
    span : Span
        How much.
    on : date or None
        The day by the site's calendar that it ends with; up to now if nothing.
    zone : ZoneInfo
        The site's.
    began_at, now : datetime
        When the station's story began, and the time, both aware UTC.
    """
    length = timedelta(days=DAYS[span])
    today, first = now.astimezone(zone).date(), began_at.astimezone(zone).date()
    if on is None or on >= today + timedelta(days=1):
        from_at, to_at, last, on = now - length, now, today, None
    else:
        from_at, to_at, last = (
            midnight(on - length + timedelta(days=1), zone),
            midnight(on + timedelta(days=1), zone),
            on,
        )
    if span is Span.SEASON:
        from_at = min(max(from_at, midnight(first, zone)), to_at - timedelta(days=1))
    earlier = last - length if last - length >= first else None
    later = None if on is None else last + length
    return Stretch(span, on, from_at, to_at, earlier, later if later and later <= today else None)


def midnight(on: date, zone: ZoneInfo) -> datetime:
    """Return when a day begins by a site's calendar, aware UTC."""
    return datetime.combine(on, time(), zone).astimezone(UTC)
