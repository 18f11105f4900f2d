"""The machine's count against a person's, window by window.

A window that the machine did not watch throughout, or the person did not count, is left out and told: no data is not
zero. Count in several lights and at several hours; noon alone proves noon alone.
"""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from swapbell_models.comparison.agreement import Concordance, Limits, concordance, limits_of_agreement
from swapbell_models.quantity import aware, positive
from swapbell_models.traffic import WINDOW_S, Window

# Our choice: seconds are rounded on their way; at the rule's ten visits, a hundredth hides one in ten windows.
WATCHED_MIN = 0.99


@dataclass(frozen=True, slots=True)
class Recount:
    """How far the machine's count is from a person's.

    Attributes
    ----------
    machine, person
        Visits in each window that both saw [visits].
    left_out
        Windows that one of them did not see.
    """

    machine: tuple[int, ...]
    person: tuple[int, ...]
    left_out: int

    @property
    def errors(self) -> tuple[int, ...]:
        """Machine less person, in each window [visits]."""
        return tuple(seen - true for seen, true in zip(self.machine, self.person, strict=True))

    @property
    def total_error(self) -> float | None:
        """Machine's total against the person's [1]: 0.05 is 5 % too many. Nothing without a visit by the person."""
        true = sum(self.person)
        return sum(self.errors) / true if true else None

    @property
    def mean_error(self) -> float | None:
        """Mean absolute error of a window [visits]; too many here does not make up for too few there."""
        return sum(abs(error) for error in self.errors) / len(self.errors) if self.errors else None

    @property
    def exact_share(self) -> float | None:
        """Share of the windows counted to the visit [1]."""
        return self.errors.count(0) / len(self.errors) if self.errors else None

    def limits(self) -> Limits:
        """Return Bland and Altman's limits of agreement [visits per window].

        Raises
        ------
        ValueError
            If fewer than 3 windows were seen by both.
        """
        return limits_of_agreement(self.machine, self.person)

    def concordance(self) -> Concordance:
        """Return Lin's concordance.

        Raises
        ------
        ValueError
            If fewer than 3 windows were seen by both.
        """
        return concordance(self.machine, self.person)


def recount(machine: Sequence[Window], person: Sequence[int | None]) -> Recount:
    """Compare the machine's windows with a person's counts of the same windows.

    Parameters
    ----------
    machine : sequence of Window
        As `traffic.windows` returns them.
    person : sequence of int or None
        Visits that the person counted in each [visits], 0 or more; nothing where they did not count.

    Raises
    ------
    ValueError
        If there are not as many of the one as of the other, or a count is negative.
    """
    if len(machine) != len(person):
        raise ValueError(f"person must have as many windows as machine, {len(machine)}, not {len(person)}")
    if (wrong := next((count for count in person if count is not None and count < 0), None)) is not None:
        raise ValueError(f"person must hold counts from 0 up or nothing, not {wrong}")
    watched = (window.watched_s >= WATCHED_MIN * window.seconds for window in machine)
    both = [
        (window.counted, true)
        for window, true, seen in zip(machine, person, watched, strict=True)
        if seen and true is not None
    ]
    return Recount(tuple(seen for seen, _ in both), tuple(true for _, true in both), len(machine) - len(both))


def tallied(
    clicks_at: Sequence[datetime], from_at: datetime, to_at: datetime, window_s: float = WINDOW_S
) -> list[int]:
    """Return a person's clicks in each whole window of a stretch that they counted throughout.

    Parameters
    ----------
    clicks_at : sequence of datetime
        One for each visit, aware, in any order.
    from_at, to_at : datetime
        The stretch, aware; a rest shorter than a window is left out.
    window_s : float
        Length of a window [s], above 0; the trade speaks of 300 s (common practice, no source).

    Raises
    ------
    ValueError
        If a moment is naive or the window is no length.
    """
    clicks = sorted(aware("clicks_at", click) for click in clicks_at)
    length = timedelta(seconds=positive("window_s", window_s, "s"))
    whole = (aware("to_at", to_at) - aware("from_at", from_at)) // length
    edges = [bisect_left(clicks, from_at + n * length) for n in range(whole + 1)]
    return [after - before for before, after in pairwise(edges)]
