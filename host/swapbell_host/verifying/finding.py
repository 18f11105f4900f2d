"""What became of the traffic after a swap: the values that are shown."""

import math
from dataclasses import dataclass

from swapbell_host.intake import Station as Key
from swapbell_models.chance import poisson_limits
from swapbell_models.proof.efficacy import Undefined
from swapbell_models.proof.fall import HALF_VISIT, Count, Fall
from swapbell_models.proof.rebound import Rebound

S_PER_H = 3600.0

NO_CONTROL = "No control station was watched at the same time: rain, cold and autumn look like success."
# Why a control station is left out.
MOVED, UNPLACED = "was moved in that time", "has no position"
IDLE = "was watched too little with fresh lure at the same hours"
# Why control stations that were watched cannot be held against.
UNCONTROLLED = {
    Undefined.CONTROL_BEFORE: "Nobody came to the control stations before: rain, cold and autumn look like success.",
    Undefined.CONTROL_AFTER: "Nobody comes to the control stations either: that may be rain, cold or autumn.",
}


@dataclass(frozen=True, slots=True)
class Side:
    """What was seen before or after.

    Attributes
    ----------
    visits, watched_s
        In foraging hours, with fresh lure [visits, s].
    scatter
        Variance over mean of the hours' visits [1], 1 or more.
    """

    visits: int
    watched_s: float
    scatter: float = 1.0

    @property
    def count(self) -> Count:
        """The same for the models of a fall."""
        return Count(self.visits, self.watched_s)

    @property
    def per_h(self) -> float | None:
        """Visits per watched hour [1/h]; nothing where nobody watched."""
        return self.visits / self.watched_s * S_PER_H if self.watched_s else None

    @property
    def limits_per_h(self) -> tuple[float, float] | None:
        """Two-sided 95 % limits of that [1/h], widened as `fall` widens its own; nothing where nobody watched."""
        if not self.watched_s:
            return None
        centre, root = self.visits + HALF_VISIT, math.sqrt(self.scatter)
        low, high = (centre * (limit / centre) ** root for limit in poisson_limits(self.visits))
        return low / self.watched_s * S_PER_H, high / self.watched_s * S_PER_H


@dataclass(frozen=True, slots=True)
class Look:
    """A stretch after the swap, up to one of the days on which to look again.

    Attributes
    ----------
    from_day, to_day
        Days after the swap; nothing for the last, which is open.
    side
        What was seen in it.
    fall
        From before to this look; nothing where too little was watched.
    control, against
        What was seen at the control stations meanwhile, and the fall against them; nothing where nobody watched them.
    """

    from_day: int
    to_day: int | None
    side: Side
    fall: Fall | None
    control: Side | None = None
    against: Fall | None = None


@dataclass(frozen=True, slots=True)
class Finding:
    """What became of the traffic of one station, or of several together.

    Attributes
    ----------
    stations
        Whose.
    before, after
        What was seen.
    controls
        The same of the control stations together; nothing where none was watched.
    scatter
        Variance over mean of the hours' visits [1]; nothing where there are too few hours to see it: then the limits
        are those of visits that come independently.
    fall, against
        From before to after, and the same against the control stations; nothing where there is no number.
    why
        Why there is none; nothing where there is one.
    looks
        After, look by look.
    rebound
        Whether wasps come back; nothing with fewer than two looks.
    left_out
        The control stations that cannot be held against, each with why.
    """

    stations: tuple[Key, ...]
    before: Side
    after: Side
    controls: tuple[Side, Side] | None = None
    scatter: float | None = None
    fall: Fall | None = None
    against: Fall | None = None
    why: str | None = None
    looks: tuple[Look, ...] = ()
    rebound: Rebound | None = None
    left_out: tuple[tuple[str, str], ...] = ()

    @property
    def best(self) -> Fall | None:
        """The fall against the control stations, also where they fell silent; without those that nobody visited."""
        visited = self.against is not None and self.against.undefined is not Undefined.CONTROL_BEFORE
        return self.against if visited else self.fall

    @property
    def caution(self) -> str:
        """Why the season or the weather may be in that fall; empty where control stations take them out."""
        if self.against is None and self.left_out:
            return (
                f"No control station can be held against it ({self.left}): rain, cold and autumn look like success."
            )
        if self.against is None:
            return NO_CONTROL
        return UNCONTROLLED.get(self.against.undefined, "") if self.against.undefined else ""

    @property
    def left(self) -> str:
        """Which control stations are left out, and why; empty if none is."""
        return "; ".join(f"{name} {why}" for name, why in self.left_out)


NOTHING = Side(0, 0.0)
