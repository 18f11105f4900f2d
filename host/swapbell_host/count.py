"""What a station counted in a stretch of time: the value that everything longer than a look is made of."""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class Count:
    """What one station counted in one stretch of time; one without any tally is not there.

    Attributes
    ----------
    from_at
        When the stretch begins, aware UTC.
    visits, outs
        Wasps that came in, and that went out.
    small, large
        Bodies of these sizes that came in.
    seconds, watched_s
        How much time the tallies of the stretch cover, and how much of it was watched [s].
    """

    from_at: datetime
    visits: int
    outs: int
    small: int
    large: int
    seconds: float
    watched_s: float
