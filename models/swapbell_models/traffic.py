"""Visits and watched time in a stretch of time, the rate they make, and what chance can do to it.

No data is not zero: what was not watched is never counted as empty. A gap can hide visits but cannot invent them, so
a count stands for "at least so many" wherever `watched_s` is short of the stretch.
"""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class Window:
    """What is known of one half-open stretch of time, `from_at` included and `to_at` not.

    Attributes
    ----------
    from_at, to_at
        Aware UTC.
    counted
        Visits seen: at least so many happened.
    watched_s
        How much of the stretch was really watched [s].
    """

    from_at: datetime
    to_at: datetime
    counted: int
    watched_s: float

    @property
    def visits(self) -> int | None:
        """Visits seen, or nothing where nobody watched."""
        return self.counted if self.counted or self.watched_s > 0.0 else None

    @property
    def seconds(self) -> float:
        """Length of the stretch [s]."""
        return (self.to_at - self.from_at).total_seconds()


@dataclass(frozen=True, slots=True)
class Rate:
    """Visits per window of watched time, with exact limits.

    Attributes
    ----------
    per_window, low, high
        The estimate and its two-sided limits [visits per window].
    """

    per_window: float
    low: float
    high: float
