"""A counted rate as it would be without the counter's own errors."""

from dataclasses import dataclass

from swapbell_models.quantity import at_least, at_most, positive
from swapbell_models.traffic import WINDOW_S, Rate

S_PER_H = 3600.0


@dataclass(frozen=True, slots=True)
class Skill:
    """How well a counter counts, as measured against a person's count.

    Attributes
    ----------
    recall
        Share of the visits that it counts [1], above 0 and at most 1.
    false_per_h
        Visits that it counts in an hour although there was none [1/h], 0 or more.

    Raises
    ------
    ValueError
        If an attribute is out of its range.
    """

    recall: float
    false_per_h: float

    def __post_init__(self) -> None:
        """Refuse what no counter can be."""
        at_most("recall", positive("recall", self.recall), 1.0)
        at_least("false_per_h", self.false_per_h, 0.0, "visits per hour")


def corrected(counted: Rate, skill: Skill, window_s: float = WINDOW_S) -> Rate:
    """Return a counted rate as it would be without the counter's own errors: (counted - false) / recall.

    Parameters
    ----------
    counted : Rate
        Visits per window of watched time, as `traffic.rate` returns them.
    skill : Skill
        How well the counter counts in the same light and traffic.
    window_s : float
        Length of a window [s], above 0.

    Raises
    ------
    ValueError
        If the length is out of its range.

    Notes
    -----
    By arithmetic. The limits take the skill as known exactly, and none goes below 0. For reports: the rule reads
    counts as they are, because a visit that was missed may not be made up.
    """
    false = skill.false_per_h * positive("window_s", window_s, "s") / S_PER_H
    per_window, low, high = (max(0.0, each - false) for each in (counted.per_window, counted.low, counted.high))
    return Rate(per_window / skill.recall, low / skill.recall, high / skill.recall)
