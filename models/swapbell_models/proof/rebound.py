"""Whether wasps come back after a collapse: from brood that still emerges, or from other nests."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from swapbell_models.proof.fall import NOT_DEAD, Count, Fall, fall, fall_against_control
from swapbell_models.quantity import aware

# Days after the swap at which to look, at the same hours and in like weather: common practice, no source. On day 4
# the traffic of nests was down by 93 % at one site (doi 10.1080/09670874.2017.1308581); by day 28 visits were back to
# about 30 % (Spurr 1991), and brood laid on the day of the swap emerges after 27.4 days (V. germanica in the
# laboratory, queen nests of four species).
LOOK_DAYS = (4, 7, 14, 28)


def looks(swapped_at: datetime) -> tuple[datetime, ...]:
    """Return when to look again after a swap, aware.

    Parameters
    ----------
    swapped_at : datetime
        When toxic bait was put in, aware.

    Raises
    ------
    ValueError
        If the moment is naive.
    """
    aware("swapped_at", swapped_at)
    return tuple(swapped_at + timedelta(days=days) for days in LOOK_DAYS)


@dataclass(frozen=True, slots=True)
class Rebound:
    """How traffic stands against what it was.

    Attributes
    ----------
    against_before
        Now against before the swap.
    against_quietest
        The quietest look against now: a fall from now to then is a rise from then to now.
    controlled
        Whether both are held against control stations; else weather and season are in them.
    """

    against_before: Fall
    against_quietest: Fall
    controlled: bool = False

    @property
    def is_returning(self) -> bool:
        """Whether more wasps come now than at the quietest, beyond chance."""
        high = self.against_quietest.high
        return high is not None and high < 1.0

    @property
    def words(self) -> str:
        """The finding for a person."""
        share = self.against_before.ratio
        level = "of an unknown share" if share is None else f"at {share:.0%}"
        held = " against the control stations" if self.controlled else ""
        weather = "" if self.controlled else " Weather and season are in this: it is held against no control station."
        told = f"Visits are {level} of what they were before the swap{held}"
        if self.is_returning:
            why = "brood that emerged, or other nests. A second round may be needed."
            return f"{told} and rising again: {why}{weather}"
        return f"{told}; no return is seen so far.{weather} {NOT_DEAD}"


def rebound(
    before: Count,
    quietest: Count,
    now: Count,
    fano: float = 1.0,
    control: tuple[Count, Count, Count] | None = None,
) -> Rebound:
    """Compare the traffic now with that before the swap and with the quietest look since.

    Parameters
    ----------
    before, quietest, now : Count
        At the same station or stations, with fresh lure, in foraging hours.
    fano : float
        Variance over mean of the windows' counts [1], 1 or more, estimated at the site.
    control : tuple of Count, optional
        The same three of the control stations.

    Raises
    ------
    ValueError
        If the Fano factor is out of its range.
    """
    if control is None:
        return Rebound(fall(before, now, fano), fall(now, quietest, fano))
    untreated_before, untreated_quietest, untreated_now = control
    return Rebound(
        fall_against_control((before, now), (untreated_before, untreated_now), fano),
        fall_against_control((now, quietest), (untreated_now, untreated_quietest), fano),
        controlled=True,
    )
