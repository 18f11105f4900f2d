"""How many wasps are on the bait at once, and whether as many leave as come.

The trade has two rules for the swap, "10 visits in 5 minutes" and "3 to 5 feeding at once". They are one rule where a
visit lasts a minute and a half to two and a half. No source for the length of a visit was found: measure it, there is
no default.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from swapbell_models.quantity import at_least, positive
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Direction, Tally
from swapbell_models.traffic import WINDOW_S


def at_once(per_window: float, stay_s: float, window_s: float = WINDOW_S) -> float:
    """Return how many are on the bait at once, on average: arrivals per time x stay.

    Parameters
    ----------
    per_window : float
        Visits per window [visits], 0 or more.
    stay_s : float
        Mean length of a visit [s], above 0.
    window_s : float
        Length of a window [s], above 0; the trade speaks of 300 s (common practice, no source).

    Raises
    ------
    ValueError
        If an argument is out of its range.

    Notes
    -----
    Little 1961, Oper Res 9:383-387: holds for any traffic that neither grows nor dwindles over the time looked at.
    """
    visits = at_least("per_window", per_window, 0.0, "visits")
    return visits * positive("stay_s", stay_s, "s") / positive("window_s", window_s, "s")


def visits_of(present: float, stay_s: float, window_s: float = WINDOW_S) -> float:
    """Return the visits per window that keep so many on the bait at once: the other way round.

    Parameters
    ----------
    present : float
        Wasps on the bait at once, on average [wasps], 0 or more.
    stay_s, window_s : float
        As for `at_once` [s].

    Raises
    ------
    ValueError
        If an argument is out of its range.
    """
    wasps = at_least("present", present, 0.0, "wasps")
    return wasps * positive("window_s", window_s, "s") / positive("stay_s", stay_s, "s")


@dataclass(frozen=True, slots=True)
class Passage:
    """Wasp-sized crossings both ways.

    Attributes
    ----------
    entered, left
        How many came in and went out.
    """

    entered: int
    left: int

    @property
    def balance(self) -> float | None:
        """Out less in, over both [1], -1 to 1: below 0 exits are missed, above 0 entries. Nothing without either.

        Over a long stretch who came in has left. Those still on the bait, and chance, make a few.
        """
        both = self.entered + self.left
        return (self.left - self.entered) / both if both else None

    @property
    def is_even(self) -> bool:
        """Whether the difference is what chance misses on either side: within two standard errors of none.

        Two standard errors of the difference of two Poisson counts: common practice, no source.
        """
        return abs(self.left - self.entered) <= 2.0 * math.sqrt(self.entered + self.left)


def passage(tallies: Iterable[Tally]) -> Passage:
    """Return how many wasp-sized insects came in and went out over some tallies."""
    ways = [each.direction for tally in tallies for each in tally.crossings if each.size is SizeClass.WASP]
    return Passage(ways.count(Direction.IN), ways.count(Direction.OUT))
