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
        Visits per station in each window of the look, oldest first [visits]: at least so many, because what a station
        did not see counts as nothing.
    """

    step: Step
    reason: Reason | None
    stations: int
    unjudged: int
    means: tuple[float, ...]

    @property
    def words(self) -> str:
        """The verdict for a person."""
        least = "at least " if self.unjudged else ""
        means = ", ".join(f"{mean:.1f}" for mean in self.means) or "0"
        unseen = f"; {self.unjudged} of them unjudged" if self.unjudged else ""
        return f"{self.step.value}: {least}{means} visits per window and station, {self.stations} stations{unseen}"


def assess_site(verdicts: Sequence[Verdict], rule: Rule) -> SiteVerdict:
    """Return the verdict on a site from those on its stations.

    Parameters
    ----------
    verdicts : sequence of Verdict
        One for each station that hangs with lure and is to be swapped, control stations left out; at least one.
        Their windows end with their own last tallies, which are seldom a minute apart.
    rule : Rule
        The rule for one station, and its confirmation: the site's counts must confirm as many times the rule as there
        are stations.

    Raises
    ------
    ValueError
        If there is no station.

    Notes
    -----
    Only the look's consecutive windows are read: the fullest windows of two stations need not be the same one. That
    the mean is held against the rule for one station is our choice.
    """
    if not verdicts:
        raise ValueError("verdicts must be of one station or more, not 0")
    heard = [each for each in verdicts if each.reason not in {Reason.SILENT, Reason.TWOFOLD}]
    counts = [sum(window.counted for window in same) for same in zip(*(each.windows for each in heard), strict=True)]
    hidden = [each.reason for each in verdicts if each.step is Step.UNJUDGED]
    step = _step(counts, rule, len(verdicts), hidden=bool(hidden))
    reason = hidden[0] if step is Step.UNJUDGED else None
    return SiteVerdict(step, reason, len(verdicts), len(hidden), tuple(count / len(verdicts) for count in counts))


def _step(counts: Sequence[int], rule: Rule, stations: int, *, hidden: bool) -> Step:
    wanted = rule.visits * stations
    if max(counts, default=0) >= wanted:
        return Step.READY if confirmed(counts, wanted, rule.confirm) else Step.TOUCHED
    if hidden:
        return Step.UNJUDGED
    return Step.BUILDING if counts[-1] >= EARLY_SHARE * wanted else Step.QUIET
