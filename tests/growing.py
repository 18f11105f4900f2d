"""Lured stations whose traffic grows by a known law, as a counter would have seen them; invented, for tests.

The truth is drawn here from its own arithmetic: of the models only the foraging clock is used.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from swapbell_models.calendar.place import Hemisphere, Place
from swapbell_models.forecasting.foraging import Foraging, seconds, sunlit
from swapbell_models.forecasting.growth import Growth
from swapbell_models.traffic import Window

# Near Hobart, in the middle of its bait window; days of the sun last 14.0 to 13.6 h there.
PLACE = Place(-42.9, 147.3, Hemisphere.SOUTH)
HUNG_AT = datetime(2026, 2, 2, 21, 0, tzinfo=UTC)  # 8 in the morning there, by daylight saving
NIGHT_H = 13  # from HUNG_AT to after sunset
RULE_PER_H = 120.0
FORAGING = sunlit(PLACE, HUNG_AT, HUNG_AT + timedelta(days=28))
HOUR = timedelta(hours=1)
FINE = timedelta(minutes=5)
TALLY_S, LOOK_DAYS = 15.0, 12
AHEAD_H = np.arange(0.0, 18.0 * 24.0, FINE / HOUR)


@dataclass(frozen=True, slots=True)
class Truth:
    """How one station's traffic grows, and how it was watched.

    Attributes
    ----------
    growth
        Its shape.
    days
        How many days were watched; now is the evening of the last.
    ahead_h
        In how many foraging hours from then the busiest part of a day would reach the rule [h].
    speed
        Exponential: the doubling time [foraging h]. Linear: the share of the rule that was there when the lure was
        hung out. None: the share of the rule that comes all the time.
    size
        k of the negative binomial between hours; infinite for Poisson.
    spread
        Standard deviation of a day's factor, gamma about 1.
    weak
        Chance that a day is weak: 35 to 80 % of the others' traffic; the mean over days stays 1.
    gaps
        Share of hours that nobody watched; of the others a fifth were watched in part.
    tilt
        By how much, as a logarithm, the evening is busier than the curve says, and the morning quieter.
    """

    growth: Growth
    days: int
    ahead_h: float
    speed: float
    size: float = np.inf
    spread: float = 0.0
    weak: float = 0.0
    gaps: float = 0.0
    tilt: float = 0.0


@dataclass(frozen=True, slots=True)
class Station:
    """What was counted at a station, and when it will really reach the rule.

    Attributes
    ----------
    windows
        Its hours.
    now
        The evening of its last day, aware UTC.
    reached_at
        The first moment at which the expected rate reaches the rule, aware UTC; nothing if never.
    """

    windows: tuple[Window, ...]
    now: datetime
    reached_at: datetime | None
    foraging: Foraging = FORAGING


def grown(truth: Truth, rng: np.random.Generator) -> Station:
    """Return a station as it was watched, by chance."""
    now = HUNG_AT + timedelta(days=truth.days - 1, hours=NIGHT_H)
    edges = [HUNG_AT + k * HOUR for k in range((now - HUNG_AT) // HOUR + 1)]
    middles = seconds(edge + HOUR / 2 for edge in edges[:-1])
    day = np.searchsorted(seconds(span[0] for span in FORAGING.spans), middles)
    watched_h = _watched(truth, len(middles), rng)
    mean = _hourly(truth, now, edges) * watched_h * _factors(truth, rng)[day - day[0]]
    lumps = rng.gamma(truth.size, 1.0 / truth.size, len(mean)) if np.isfinite(truth.size) else 1.0
    visits = rng.poisson(mean * lumps)
    return Station(_windows(edges, visits, watched_h), now, _reached_at(truth, now))


def _rate(truth: Truth, now: datetime, at_s: np.ndarray) -> np.ndarray:
    """Return the true expected visits per hour."""
    reading = FORAGING.read(at_s)
    since_h = reading.hours - FORAGING.read(seconds([HUNG_AT, now])).hours[0]
    return _growth(truth, now, since_h) * reading.activity * np.exp(truth.tilt * _half_days(at_s))


def _hourly(truth: Truth, now: datetime, edges: Sequence[datetime]) -> np.ndarray:
    """Return the mean of the true rate over each hour [visits per h]."""
    parts_s = seconds(edges[:-1])[:, None] + 300.0 * (np.arange(12) + 0.5)
    return _rate(truth, now, parts_s.ravel()).reshape(parts_s.shape).mean(axis=1)


def _growth(truth: Truth, now: datetime, since_h: np.ndarray) -> np.ndarray:
    hung_h, now_h = FORAGING.read(seconds([HUNG_AT, now])).hours
    reached_h = now_h - hung_h + truth.ahead_h
    match truth.growth:
        case Growth.NONE:
            return np.full(len(since_h), RULE_PER_H * truth.speed)
        case Growth.LINEAR:
            return RULE_PER_H * (truth.speed + (1.0 - truth.speed) * since_h / reached_h)
        case Growth.EXPONENTIAL:
            return RULE_PER_H * 2.0 ** ((since_h - reached_h) / truth.speed)


def _half_days(at_s: np.ndarray) -> np.ndarray:
    """Return -1 at the beginning of a foraging day, 1 at its end."""
    begin_s, end_s = (seconds(span[k] for span in FORAGING.spans) for k in (0, 1))
    day = np.searchsorted(begin_s, at_s) - 1
    return 2.0 * (at_s - begin_s[day]) / (end_s - begin_s)[day] - 1.0


def _factors(truth: Truth, rng: np.random.Generator) -> np.ndarray:
    """Return each day's factor."""
    size = truth.spread**-2.0 if truth.spread else np.inf
    factors = rng.gamma(size, 1.0 / size, truth.days) if truth.spread else np.ones(truth.days)
    weak = np.where(rng.random(truth.days) < truth.weak, rng.uniform(0.35, 0.8, truth.days), 1.0)
    return factors * weak / (1.0 - truth.weak * (1.0 - 0.575))


def _watched(truth: Truth, hours: int, rng: np.random.Generator) -> np.ndarray:
    partly = np.where(rng.random(hours) < (0.2 if truth.gaps else 0.0), rng.uniform(0.2, 1.0, hours), 1.0)
    return np.where(rng.random(hours) < truth.gaps, 0.0, partly)


def _windows(edges: Sequence[datetime], visits: np.ndarray, watched_h: np.ndarray) -> tuple[Window, ...]:
    pairs = zip(edges, edges[1:], visits, watched_h, strict=False)
    return tuple(Window(from_at, to_at, int(n), float(h) * 3600.0) for from_at, to_at, n, h in pairs)


def _reached_at(truth: Truth, now: datetime) -> datetime | None:
    at_s = now.timestamp() + AHEAD_H * 3600.0
    hits = np.flatnonzero(_rate(truth, now, at_s) >= RULE_PER_H)
    return now + timedelta(hours=float(AHEAD_H[hits[0]])) if len(hits) else None


def called_at(truth: Truth, now: datetime, rng: np.random.Generator) -> datetime | None:
    """Return when, after `now`, two of the last three windows of 5 min first hold ten visits each, if all is watched.

    As the host looks: at each tally, every 15 s, at the three windows that end with it.
    """
    tallies_s = now.timestamp() + TALLY_S * (np.arange(LOOK_DAYS * 5760) + 0.5)
    hours = LOOK_DAYS * 24
    lumps = rng.gamma(truth.size, 1.0 / truth.size, hours) if np.isfinite(truth.size) else np.ones(hours)
    visits = np.cumsum(rng.poisson(_rate(truth, now, tallies_s) * np.repeat(lumps, 240) * TALLY_S / 3600.0))
    full = (visits[20:] - visits[:-20]) >= 10
    twos = np.flatnonzero(full[40:].astype(int) + full[20:-20] + full[:-40] >= 2)
    return now + timedelta(seconds=TALLY_S * (int(twos[0]) + 61)) if len(twos) else None


def share_at(truth: Truth, now: datetime, at: datetime) -> float:
    """Return at what share of the rule the traffic truly stands at a moment."""
    return float(_rate(truth, now, seconds([at]))[0]) / RULE_PER_H
