"""When the lure has drawn enough wasps for the swap: the rule, its confirmation, and the evidence.

The rule asks for `visits` in any window of `window_s` seconds. A machine that never blinks finds such a window by
luck, so the rule alone only makes a station `touched`; a confirmation makes it `ready`. All of it is read from a look
of `WINDOWS` windows that ends with the last tally: what was not yet reported is not taken for a gap.

The verdict is the first of these that holds:

silent    no tally, or the last one ended more than `silent_s` ago: `unjudged`
twofold   two starts of a counter claim more than a minute of the look: two counters may share the name; `unjudged`
ready     the rule was reached in the look, and its confirmation holds, see `confirmation`
touched   some half-open window, wherever it begins in the look, counts `visits` or more
dark      more than `UNWATCHED_SHARE_MAX` of the last window went unwatched, so that few visits prove nothing, and
          most of that was night: `unjudged`
blind     the same, and most of it because the counter could not count for what it saw; or the station says that it
          is blind: `unjudged`
gaps      the same, and most of it for no reason that is known: `unjudged`
building  the last window counts half the rule or more
quiet     otherwise

Counts enter as they are and windows at their nominal length: a gap can hide visits but cannot invent them. So another
visit of one counter never lowers the step, and less watched time never raises it.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import Enum
from itertools import combinations

from swapbell_models import traffic
from swapbell_models.calendar.daylight import nights
from swapbell_models.calendar.place import Place
from swapbell_models.chance import lucky_window
from swapbell_models.confirmation import EARLY_SHARE, WINDOWS, Confirm, Risk, confirmed, risks
from swapbell_models.quantity import aware, positive
from swapbell_models.tally import Hindrance, Tally
from swapbell_models.traffic import WINDOW_S, Rate, Record, Window

# At least 10 visits in any 5 minutes: common practice, no source.
RULE_VISITS = 10
# Our choice: half a minute of five, two tallies of the usual length. At the rule's own mean it hides one visit, a
# third of the scatter that chance alone gives to ten.
UNWATCHED_SHARE_MAX = 0.1
# Our choice: two windows. One may be lost to a link that comes and goes; after two nobody is watching.
SILENT_S = 600.0
# Our choice: a minute, more than clocks kept by network time differ; what claims to be later is not believed.
AHEAD_MAX_S = 60.0
# Our choice: a minute, more than two starts of one counter differ by on a clock that was set a little.
TWOFOLD_S = 60.0


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
    TWOFOLD = "twofold"


@dataclass(frozen=True, slots=True)
class Rule:
    """The readiness rule of a station.

    Attributes
    ----------
    visits
        Visits in one window that the rule asks for, 2 or more.
    window_s
        Length of a window [s], greater than 0.
    confirm
        What turns `touched` into `ready`.
    silent_s
        Age of the last tally's end beyond which the station is silent [s], greater than 0.
    place
        Where it stands, which tells when it is night; nothing if nobody has said, and then no time is known to be.
    """

    visits: int = RULE_VISITS
    window_s: float = WINDOW_S
    confirm: Confirm = Confirm.TWO_OF_THREE
    silent_s: float = SILENT_S
    place: Place | None = None

    def __post_init__(self) -> None:
        """Refuse a rule that cannot be judged by."""
        if not 1 < self.visits < math.inf:
            raise ValueError(f"visits must be 2 or more, not {self.visits}")
        positive("window_s", self.window_s, "s")
        positive("silent_s", self.silent_s, "s")


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
        The look's consecutive windows, oldest first; the last one ends with the last tally. Empty without tallies.
    fullest
        The look's fullest window, wherever it begins; nothing without visits.
    reached_at
        When the rule was first reached in the look; nothing if it was not.
    rate
        Visits per window of watched time over the look; nothing if nobody watched.
    lucky
        Once the rule is reached: the chance of a window as full as the fullest in a look fully watched, if the true
        mean were only `EARLY_SHARE` of the rule.
    risks
        Once the rule is reached: how often such a look errs, for steady traffic and for bouts.
    """

    step: Step
    reason: Reason | None = None
    windows: tuple[Window, ...] = ()
    fullest: Window | None = None
    reached_at: datetime | None = None
    rate: Rate | None = None
    lucky: float | None = None
    risks: tuple[Risk, ...] = ()

    @property
    def last(self) -> Window | None:
        """The window that ends with the last tally: what a person would call the last five minutes."""
        return self.windows[-1] if self.windows else None

    @property
    def hindrance(self) -> Hindrance | None:
        """What kept the counter from counting, where that is why nothing can be said."""
        return self.last.hindrance if self.reason is Reason.BLIND and self.last else None

    @property
    def long_blind(self) -> bool:
        """Whether the counter could not count for most of what went unwatched in each window of the look."""
        return all(_why_unwatched(window, blind=False) is Reason.BLIND for window in self.windows)


def assess(tallies: Sequence[Tally], now: datetime, rule: Rule, *, blind: bool = False) -> Verdict:
    """Return the verdict on a station's traffic.

    Parameters
    ----------
    tallies : sequence of Tally
        At least those of the last `WINDOWS` windows. What claims to end later than `now`, by more than `AHEAD_MAX_S`,
        is not believed.
    now : datetime
        Aware UTC.
    rule : Rule
        The rule and its confirmation.
    blind : bool
        Whether the station last said that it cannot see.

    Raises
    ------
    ValueError
        If the moment is naive.
    """
    latest_at = aware("now", now) + timedelta(seconds=AHEAD_MAX_S)
    ends = [(tally.to_at, tally) for tally in _late(tallies, latest_at, rule)]
    end_at = max((to_at for to_at, _ in ends if to_at <= latest_at), default=None)
    if end_at is None:
        return Verdict(Step.UNJUDGED, Reason.SILENT)
    begin_at = end_at - timedelta(seconds=WINDOWS * rule.window_s)
    told = [tally for to_at, tally in ends if begin_at < to_at <= end_at]
    if (now - end_at).total_seconds() <= rule.silent_s and is_twofold(told):
        return Verdict(Step.UNJUDGED, Reason.TWOFOLD)
    dark = nights(rule.place, begin_at, end_at) if rule.place else ()
    evidence = _look(traffic.read(told, dark), end_at, rule)
    step, reason = _step(evidence, (now - end_at).total_seconds(), rule, blind=blind)
    return replace(evidence, step=step, reason=reason)


def is_twofold(tallies: Iterable[Tally]) -> bool:
    """Tell whether two starts of a counter claim the same time: two counters under one name, or a clock set back."""
    spans: dict[str, tuple[datetime, datetime]] = {}
    for tally in tallies:
        begins_at, ends_at = spans.get(tally.boot, (tally.from_at, tally.to_at))
        spans[tally.boot] = min(begins_at, tally.from_at), max(ends_at, tally.to_at)
    if len(spans) == 1:
        return False
    return any(
        (min(one[1], other[1]) - max(one[0], other[0])).total_seconds() > TWOFOLD_S
        for one, other in combinations(spans.values(), 2)
    )


def _late(tallies: Sequence[Tally], latest_at: datetime, rule: Rule) -> Sequence[Tally]:
    """Return those that may be in the look: a host that judges thousands of stations need not work out all the ends.

    Whatever begins so early that even the longest would be over before the look begins is left out.
    """
    longest = timedelta(seconds=max([tally.seconds for tally in tallies], default=0.0))
    sure_at = latest_at - longest
    begun = [from_at for tally in tallies if (from_at := tally.from_at) <= sure_at]
    if not begun:
        return tallies
    early_at = max(begun) - timedelta(seconds=WINDOWS * rule.window_s) - longest
    return [tally for tally in tallies if tally.from_at > early_at]


def _look(record: Record, end_at: datetime, rule: Rule) -> Verdict:
    """Gather the evidence of the look that ends at `end_at`."""
    windows = record.windows(end_at, rule.window_s, WINDOWS)
    whole = traffic.joined(windows)
    fullest = record.fullest(whole, rule.window_s)
    reached_at = record.reached_at(whole, rule.visits, rule.window_s)
    return Verdict(
        Step.UNJUDGED,
        windows=windows,
        fullest=fullest,
        reached_at=reached_at,
        rate=traffic.rate(whole, rule.window_s),
        lucky=lucky_window(fullest.counted, rule.visits * EARLY_SHARE, WINDOWS) if fullest and reached_at else None,
        risks=risks(rule.visits, rule.confirm) if reached_at else (),
    )


def _step(evidence: Verdict, age_s: float, rule: Rule, *, blind: bool) -> tuple[Step, Reason | None]:
    last = evidence.windows[-1]
    if age_s > rule.silent_s:
        return Step.UNJUDGED, Reason.SILENT
    if evidence.reached_at is not None:
        return (Step.READY if _is_confirmed(evidence, rule) else Step.TOUCHED), None
    if reason := _why_unwatched(last, blind=blind):
        return Step.UNJUDGED, reason
    return (Step.BUILDING if last.counted >= EARLY_SHARE * rule.visits else Step.QUIET), None


def _why_unwatched(last: Window, *, blind: bool) -> Reason | None:
    """Return why few visits in the last window prove nothing; nothing if they do."""
    missed_s = {Reason.DARK: last.dark_s, Reason.BLIND: last.blind_s, Reason.GAPS: last.missed_s}
    most = max(missed_s, key=missed_s.__getitem__) if gappy(last) else None
    return Reason.BLIND if blind and most is not Reason.DARK else most


def gappy(window: Window) -> bool:
    """Tell whether so much of a window went unwatched that few visits in it prove nothing."""
    return window.watched_s < (1.0 - UNWATCHED_SHARE_MAX) * window.seconds


def _is_confirmed(evidence: Verdict, rule: Rule) -> bool:
    return confirmed([window.counted for window in evidence.windows], rule.visits, rule.confirm)
