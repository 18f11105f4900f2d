"""When the rule will be reached, from the days so far: a moment with its limits, or a refusal that says why.

What is forecast is the first moment from now on at which a window, if fully watched, is expected to hold as many
visits as the rule asks for, on a day like those watched: growth times the activity of that part of the day. This is
a property of the traffic, and what a person who plans a trip needs: that wasps really come in numbers. It is not the
first window that happens to be full enough: luck and bouts make even the confirmed verdict `ready` come earlier, two
windows of three at some two thirds of the rule. When that call is likely is forecast beside it, more roughly.

The limits are 10 % and 90 % of what the counts leave possible, no growth included. Where no upper limit lies within
the horizon there is no forecast: the data cannot say.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from enum import Enum
from statistics import fmean

import numpy as np

from swapbell_models.confirmation import Confirm
from swapbell_models.forecasting.foraging import ONE_DAY, S_PER_H, Foraging, seconds
from swapbell_models.forecasting.growth import Belief, Growth
from swapbell_models.forecasting.inference import believe
from swapbell_models.forecasting.watched import Basis, Counts, read
from swapbell_models.readiness import Rule
from swapbell_models.traffic import Window

# Two-sided limits of 80 %: our choice, one trip in ten too early and one too late.
LOW, MIDDLE, HIGH = 0.1, 0.5, 0.9
# Our choice: beyond a week neither the weather nor the lure is the one that was watched.
HORIZON = timedelta(days=7)
# Our choice: the rule's own window, 5 min, is finer than any limit.
STEP = timedelta(minutes=5)
# Our choice: one day cannot tell growth from its own shape.
MIN_DAYS = 2
# Our choice: what was counted before yesterday is no news of today.
STALE = timedelta(hours=36)
# At what share of the rule the traffic stands when a host that always watches calls `ready` by two windows of three:
# 10, 30, 50, 70 and 90 % of simulated stations whose traffic grows (decision 0012).
CALL_SHARES = (0.43, 0.54, 0.60, 0.67, 0.76)
# Our choice: a coin's chance.
EVEN = 0.5


class Refusal(Enum):
    """Why there is no forecast."""

    TOO_FEW_DAYS = "too few days"
    STALE = "counts too old"
    ALREADY_THERE = "already there"
    NO_GROWTH = "no growth"
    BEYOND_HORIZON = "beyond the horizon"


@dataclass(frozen=True, slots=True)
class Moment:
    """A moment of the future on both clocks.

    Attributes
    ----------
    foraging_h
        Foraging hours from now until then [h].
    at
        Aware UTC.
    """

    foraging_h: float
    at: datetime


@dataclass(frozen=True, slots=True)
class Forecast:
    """When the rule will be reached, or why nobody can say.

    Attributes
    ----------
    made_at
        Now, aware UTC.
    rule
        What is to be reached.
    basis
        What it stands on.
    refusal
        Why there is no forecast; nothing where there is one.
    earliest, reached, latest
        The limits of 10 % and 90 % and the middle. Nothing in a refusal, but for `earliest`: before then the rule is
        reached with a chance of 10 % only.
    call
        The same three for the call `ready` by two windows of three, if all is watched; nothing where that is not to
        be said, with another confirmation, or if the call is more likely to have come already.
    growth
        How likely each shape of growth is; empty where there was nothing to judge by.
    now_per_window
        Expected visits in a window of the busiest part of the day at the end of the watch: 10 %, middle, 90 %.
    scatter
        1/k of the negative binomial between bins of a day [1]; 0 for Poisson.
    """

    made_at: datetime
    rule: Rule
    basis: Basis
    refusal: Refusal | None = None
    earliest: Moment | None = None
    reached: Moment | None = None
    latest: Moment | None = None
    call: tuple[Moment, Moment, Moment] | None = None
    growth: Mapping[Growth, float] = field(default_factory=dict[Growth, float])
    now_per_window: tuple[float, float, float] | None = None
    scatter: float | None = None


@dataclass(frozen=True, slots=True)
class Band:
    """The traffic that is expected at a moment.

    Attributes
    ----------
    at
        The moment, aware UTC.
    low, middle, high
        Visits per window: 10 %, middle, 90 %; 0 at night.
    """

    at: datetime
    low: float
    middle: float
    high: float


def forecast(windows: Sequence[Window], foraging: Foraging, now: datetime, rule: Rule) -> Forecast:
    """Return when the rule will be reached, with 80 % limits, or why nobody can say.

    Parameters
    ----------
    windows : sequence of Window
        The lure's traffic so far, in bins of 2 h or less (an hour is good), in any order, none overlapping. What was
        not watched has no seconds; it is a gap and not zero. What ends after `now` is left out.
    foraging : Foraging
        The foraging days, from the first bin's to the horizon's, 7 days after `now`.
    now : datetime
        Aware UTC.
    rule : Rule
        `visits` per `window_s` are to be reached.

    Returns
    -------
    Forecast
        See the head of this module for what is forecast. Held against simulation: `models/decisions`, 0012.

    Raises
    ------
    ValueError
        If a moment is naive, a bin too long, or the foraging days do not last.
    """
    counts = read(windows, foraging, now)
    made = Forecast(now, rule, counts.basis if counts else Basis())
    unfit = _unfit(made)
    if counts is None or unfit:
        return replace(made, refusal=unfit)
    belief = believe(counts)
    made = replace(made, growth=belief.shares, now_per_window=_now(belief, rule), scatter=belief.scatter)
    outlook = _Outlook(belief, counts, foraging, now)
    need_per_h = rule.visits * S_PER_H / rule.window_s
    if outlook.was_there(need_per_h) >= EVEN:
        return replace(made, refusal=Refusal.ALREADY_THERE)
    earliest, reached, latest = outlook.moments(need_per_h)
    made = replace(made, earliest=earliest)
    if latest is None and belief.shares[Growth.NONE] >= 1.0 - HIGH:
        return replace(made, refusal=Refusal.NO_GROWTH)
    if rule.confirm is Confirm.TWO_OF_THREE:
        made = replace(made, call=_call(outlook, need_per_h))
    if latest is None:
        return replace(made, refusal=Refusal.BEYOND_HORIZON)
    return replace(made, reached=reached, latest=latest)


def bands(
    windows: Sequence[Window], foraging: Foraging, now: datetime, rule: Rule, moments: Sequence[datetime]
) -> tuple[Band, ...]:
    """Return the expected traffic at some moments, past or future; nothing where there are too few data to say.

    Parameters
    ----------
    windows, foraging, rule
        As for `forecast`.
    now : datetime
        As for `forecast`.
    moments : sequence of datetime
        Aware.

    Raises
    ------
    ValueError
        As for `forecast`, or if a moment is naive.
    """
    at_s, counts = seconds(moments), read(windows, foraging, now)
    if counts is None or _unfit(Forecast(now, rule, counts.basis)):
        return ()
    belief, reading = believe(counts), foraging.read(at_s)
    rates = belief.limits(counts.position(reading.hours), (LOW, MIDDLE, HIGH)) * reading.activity[:, None]
    per_window = rates * (rule.window_s / S_PER_H)
    return tuple(Band(at, *map(float, row)) for at, row in zip(moments, per_window, strict=True))


def _unfit(made: Forecast) -> Refusal | None:
    """Return why the data are no basis for any forecast."""
    basis = made.basis
    if basis.to_at is None or basis.days < MIN_DAYS:
        return Refusal.TOO_FEW_DAYS
    return Refusal.STALE if made.made_at - basis.to_at > STALE else None


def _now(belief: Belief, rule: Rule) -> tuple[float, float, float]:
    """Return the limits of the traffic at the end of the watch [visits per window]."""
    low, middle, high = belief.limits(np.ones(1), (LOW, MIDDLE, HIGH))[0] * (rule.window_s / S_PER_H)
    return float(low), float(middle), float(high)


def _call(outlook: "_Outlook", need_per_h: float) -> tuple[Moment, Moment, Moment] | None:
    """Return when the call is likely; nothing if it may be beyond the horizon, or more likely came already."""
    needs = [need_per_h * share for share in CALL_SHARES]
    earliest, middle, latest = outlook.moments(*needs)
    if earliest is None or middle is None or latest is None or outlook.was_there(*needs) >= EVEN:
        return None
    return earliest, middle, latest


@dataclass(frozen=True, slots=True)
class _Outlook:
    """What is believed of a lure, and its foraging days; of several rates, each is as likely as the others."""

    belief: Belief
    counts: Counts
    foraging: Foraging
    now: datetime

    def was_there(self, *needs_per_h: float) -> float:
        """Return how likely it is that a rate was reached in what was watched."""
        position, activity = self.counts.position(self.counts.hours), self.counts.activity
        return fmean(1.0 - float(self.belief.first(position, activity, need)[-1]) for need in needs_per_h)

    def moments(self, *needs_per_h: float) -> list[Moment | None]:
        """Return when the limits and the middle of what is possible lie; nothing for what is beyond the horizon."""
        if self.foraging.spans[-1][1] < self.now + HORIZON - ONE_DAY:
            raise ValueError(f"foraging must last to {self.now + HORIZON}, not {self.foraging.spans[-1][1]}")
        at_s = self.now.timestamp() + np.arange(0.0, HORIZON.total_seconds(), STEP.total_seconds())
        ahead = self.foraging.read(at_s)
        light = np.flatnonzero(ahead.activity > 0.0)
        position, activity = self.counts.position(ahead.hours[light]), ahead.activity[light]
        chances = np.mean([self.belief.first(position, activity, need) for need in needs_per_h], axis=0)
        hours = ahead.hours[light] - ahead.hours[0]
        return [
            Moment(float(hours[k]), self.now + int(light[k]) * STEP) if k < len(light) else None
            for k in np.searchsorted(np.cumsum(chances), (LOW, MIDDLE, HIGH))
        ]
