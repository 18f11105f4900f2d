"""When the lure has drawn enough wasps for the swap: the rule, its confirmation, and the evidence."""

from dataclasses import dataclass
from datetime import datetime
from enum import Enum

from swapbell_models.traffic import Rate, Window

# At least 10 visits in any 5 minutes: common practice, no source.
RULE_VISITS = 10
WINDOW_S = 300.0


class Step(Enum):
    """How far the traffic has come, in rising order."""

    UNJUDGED = "unjudged"
    QUIET = "quiet"
    BUILDING = "building"
    TOUCHED = "touched"
    READY = "ready"


class Reason(Enum):
    """Why nothing can be said."""

    DARK = "dark"
    RAIN = "rain"
    COLD = "cold"
    GAPS = "gaps"
    BLIND = "blind"
    SILENT = "silent"


class Confirm(Enum):
    """What turns `touched` into `ready`."""

    TWO_OF_THREE = "2 of 3"
    FIRST = "first"
    SEQUENTIAL = "sequential"


@dataclass(frozen=True, slots=True)
class Rule:
    """The readiness rule of a station.

    Attributes
    ----------
    visits
        Visits in one window that the rule asks for.
    window_s
        Length of a window [s].
    confirm
        What turns `touched` into `ready`.
    silent_s
        Age of the last tally's end after which the station is silent [s].
    """

    visits: int = RULE_VISITS
    window_s: float = WINDOW_S
    confirm: Confirm = Confirm.TWO_OF_THREE
    silent_s: float = 600.0


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the traffic says, with its evidence.

    Attributes
    ----------
    step
        How far the traffic has come.
    reason
        Why it is unjudged; nothing otherwise.
    windows
        The last three windows, oldest first; the last one ends with the last tally. Empty where there is no tally.
    fullest
        The fullest window of the last three windows' time, wherever it begins; nothing without visits.
    reached_at
        When the rule was first reached in that time; nothing if it was not.
    rate
        Visits per window of watched time over the three windows; nothing if nobody watched.
    lucky
        Chance of a window as full as the fullest in the same time if the true mean were only half the rule.
    """

    step: Step
    reason: Reason | None = None
    windows: tuple[Window, ...] = ()
    fullest: Window | None = None
    reached_at: datetime | None = None
    rate: Rate | None = None
    lucky: float | None = None

    @property
    def last(self) -> Window | None:
        """The window that ends with the last tally: what a person would call the last five minutes."""
        return self.windows[-1] if self.windows else None
