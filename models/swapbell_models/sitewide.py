"""When to swap a whole site: all stations together, once their mean reaches the rule.

Stations share nests and wasps: toxic bait in one and lure in the next would feed the same wasps both.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from swapbell_models.confirmation import EARLY_SHARE, confirmed
from swapbell_models.readiness import Reason, Rule, Step, Verdict


@dataclass(frozen=True, slots=True)
class SiteVerdict:
    """What the traffic of all stations of a site says.

    Attributes
    ----------
    step
        How far the mean of the stations has come.
    reason
        Why it is unjudged; nothing otherwise.
    stations, unjudged
        How many stations there are, and of how many few visits prove nothing.
    means
        Visits per station in each window of the look, oldest first [visits], of those that can be judged.
    rule
        By which rule.
    """

    step: Step
    reason: Reason | None
    stations: int
    unjudged: int
    means: tuple[float, ...]
    rule: Rule

    @property
    def words(self) -> str:
        """The verdict for a person."""
        if not self.means:
            return f"{self.step.value}: none of its {self.stations} stations can be judged"
        judged, means = self.stations - self.unjudged, ", ".join(f"{mean:.1f}" for mean in self.means)
        all_of = f"its {self.stations} stations"
        whose = f"the {judged} of {all_of} that can be judged" if self.unjudged else all_of
        asked = f"visits in each {self.rule.window_s / 60:g} min, oldest first (rule: {self.rule.visits})"
        return f"{self.step.value}: a mean of {means} {asked} over {whose}"

    def called(self, step: Step) -> Step:
        """Return how far one of its several stations has come, by its own traffic or with the others.

        Parameters
        ----------
        step : Step
            How far its own traffic has come.
        """
        return self.step if self.step is Step.READY else step


def assess_site(verdicts: Sequence[Verdict], rule: Rule) -> SiteVerdict:
    """Return the verdict on a site from those on its stations.

    Parameters
    ----------
    verdicts : sequence of Verdict
        One for each station that hangs with lure and is to be swapped, control stations left out; at least one.
        Their windows end with their own last tallies, which are seldom a minute apart.
    rule : Rule
        The rule for one station, and its confirmation: the site's counts must confirm as many times the rule as there
        are stations that can be judged.

    Raises
    ------
    ValueError
        If there is no station.

    Notes
    -----
    Only the look's consecutive windows are read: the fullest windows of two stations need not be the same one. That
    the mean is held against the rule for one station is our choice; so is that stations which cannot be judged are
    left out of it: one dead board must neither call for a swap nor hold it back.
    """
    if not verdicts:
        raise ValueError("verdicts must be of one station or more, not 0")
    judged = [each for each in verdicts if each.step is not Step.UNJUDGED]
    counts = [sum(window.counted for window in same) for same in zip(*(each.windows for each in judged), strict=True)]
    hidden = [each.reason for each in verdicts if each.step is Step.UNJUDGED]
    step = _step(counts, rule, len(judged), hidden=bool(hidden))
    reason = hidden[0] if step is Step.UNJUDGED else None
    means = tuple(count / len(judged) for count in counts)
    return SiteVerdict(step, reason, len(verdicts), len(hidden), means, rule)


def _step(counts: Sequence[int], rule: Rule, stations: int, *, hidden: bool) -> Step:
    wanted = rule.visits * stations
    if counts and max(counts) >= wanted:
        return Step.READY if confirmed(counts, wanted, rule.confirm) else Step.TOUCHED
    if hidden:
        return Step.UNJUDGED
    return Step.BUILDING if counts[-1] >= EARLY_SHARE * wanted else Step.QUIET
