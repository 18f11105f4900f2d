"""When a person wants to hear nothing: from one time of day to another, by the clock of the site."""

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

# Our choice: that toxic bait is due out is said half a day ahead; whoever is quiet no longer still hears it in time.
QUIET_MAX = timedelta(hours=12)
_FORM = re.compile(r"([01]?[0-9]|2[0-3]):([0-5][0-9])-([01]?[0-9]|2[0-3]):([0-5][0-9])")
_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Quiet:
    """The quiet hours of a person.

    Attributes
    ----------
    begins, ends
        Times of day; where the end is the earlier one, they run through midnight.
    """

    begins: time
    ends: time

    def __post_init__(self) -> None:
        """Refuse hours that are none, or more than half the day."""
        if not timedelta() < self._length() <= QUIET_MAX:
            raise ValueError(f"quiet hours must be above 0 and at most 12 h long, not {self}")

    def __str__(self) -> str:
        return f"{self.begins:%H:%M}-{self.ends:%H:%M}"

    def holds(self, at: datetime, zone: ZoneInfo) -> bool:
        """Tell whether a moment (aware UTC) lies within them."""
        clock = at.astimezone(zone).time()
        if self.begins < self.ends:
            return self.begins <= clock < self.ends
        return clock >= self.begins or clock < self.ends

    def ends_at(self, at: datetime, zone: ZoneInfo) -> datetime:
        """Return when they end next after `at`, aware UTC."""
        return _next(self.ends, at, zone)

    def after(self, at: datetime, span: timedelta, zone: ZoneInfo) -> datetime:
        """Return the moment, aware UTC, by which so much time outside of them has passed since `at`."""
        while True:
            if self.holds(at, zone):
                at = self.ends_at(at, zone)
            begins_at = _next(self.begins, at, zone)
            if at + span <= begins_at:
                return at + span
            span, at = span - (begins_at - at), begins_at

    def _length(self) -> timedelta:
        minutes = 60 * (self.ends.hour - self.begins.hour) + self.ends.minute - self.begins.minute
        return timedelta(minutes=minutes) % _DAY


def quiet(text: str) -> Quiet:
    """Return the hours of a text such as 21:00-06:00, or refuse it."""
    found = _FORM.fullmatch(text.strip())
    if found is None:
        raise ValueError(f"quiet hours must read like 21:00-06:00, not {text[:20]!r}")
    return Quiet(time(int(found[1]), int(found[2])), time(int(found[3]), int(found[4])))


def waking(hours: Quiet | None, at: datetime, span: timedelta, zone: ZoneInfo) -> datetime:
    """Return when `span` has passed since `at`, counting only time in which the person may be called."""
    return hours.after(at, span, zone) if hours else at + span


def _next(clock: time, at: datetime, zone: ZoneInfo) -> datetime:
    """Return the next moment after `at` at which the site's clock shows a time of day."""
    today = at.astimezone(zone).date()
    moments = (moment for k in range(-1, 3) for moment in _shown(clock, today + k * _DAY, zone))
    return next(moment for moment in moments if moment > at)


def _shown(clock: time, day: date, zone: ZoneInfo) -> list[datetime]:
    """Return when a day's clock shows a time: twice where it is set back, once, later, where it is set over it."""
    first, again = (datetime.combine(day, clock.replace(fold=fold), zone).astimezone(UTC) for fold in (0, 1))
    return [first, again] if again > first else [first]
