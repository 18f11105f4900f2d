"""Invented stations: their wasps, their weather, their faults, and what the host would know of each."""

import math
import random
from collections import deque
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from swapbell_host.judging.history import History, PastNotice
from swapbell_models.job import Job
from swapbell_models.message import Health, StationState
from swapbell_models.phase import Event, Phase
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Clock, Crossing, Direction, Hindrance, Sight, Tally

ZONE = ZoneInfo("Pacific/Auckland")
TALLY = timedelta(minutes=5)
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
SITE = "orchard"


@dataclass(frozen=True, slots=True)
class Odds:
    """How often things go wrong, per station and day unless said otherwise."""

    link_lost: float = 0.02
    link_flaps: float = 0.01
    board_dies: float = 0.003
    camera_breaks: float = 0.004
    battery_low: float = 0.006
    hole: float = 0.01
    visitors: float = 0.006
    rainy_day: float = 0.3  # per day
    has_nest: float = 0.6  # per lure


@dataclass(slots=True, eq=False)
class Station:
    """One station, as it really is."""

    name: str
    rng: random.Random
    odds: Odds
    job: Job
    cycle_at: datetime
    wasps: bool = False
    seq: int = 0
    battery: float = 90.0
    broken: bool = False
    dead: bool = False
    off: list[tuple[datetime, datetime]] = field(default_factory=list[tuple[datetime, datetime]])
    sent: deque[Tally] = field(default_factory=lambda: deque[Tally](maxlen=12))
    told: dict[str, datetime] = field(default_factory=dict[str, datetime])

    def new_lure(self, at: datetime) -> None:
        """Begin a new job here: wasps find the lure, or they do not."""
        self.job, self.cycle_at, self.told = Job(at).after(Event.LURED, at), at, {}
        self.wasps = self.rng.random() < self.odds.has_nest

    def do(self, event: Event, at: datetime) -> None:
        """Log an act, where it is legal."""
        job = self.job.at(at)
        if event in job.legal:
            self.job = job.after(event, at)

    def repair(self) -> None:
        """Put right whatever a visit can."""
        self.battery, self.broken, self.dead = 90.0, False, False

    def begin_day(self, at: datetime) -> None:
        """Let the day's accidents happen."""
        odds, chance = self.odds, self.rng.random
        self.off = [(begin, end) for begin, end in self.off if end > at]
        if chance() < odds.link_lost:
            self._lose(at + chance() * DAY, (0.2 + 18.0 * chance()) * HOUR)
        if chance() < odds.link_flaps:
            self._flap(at + chance() * DAY, at + (1.0 + 2.0 * chance()) * DAY)
        self.dead = self.dead or chance() < odds.board_dies
        self.broken = self.broken or chance() < odds.camera_breaks
        self.battery -= 70.0 if chance() < odds.battery_low else 0.0

    def hears(self, at: datetime) -> bool:
        """Tell whether its link and its board work."""
        return not self.dead and not any(begin <= at < end for begin, end in self.off)

    def send(self, at: datetime, rain: bool) -> None:
        """Report the five minutes before a moment."""
        self.seq += 1
        visits = 0 if self.broken else _poisson(self.rng, self.mean(at, rain))
        self.sent.append(
            Tally(
                station=self.name,
                boot="b",
                seq=self.seq,
                from_at=at - TALLY,
                up_s=300.0 * self.seq,
                clock=Clock.SYNCED,
                seconds=300.0,
                watched_s=0.0 if self.broken else 300.0,
                crossings=tuple(_visit(300.0 * self.rng.random()) for _ in range(visits)),
                sight=Sight(blind_s=300.0, hindrance=Hindrance.DETAIL) if self.broken else None,
            )
        )

    def mean(self, at: datetime, rain: bool) -> float:
        """Return how many visits five minutes have on average."""
        local = at.astimezone(ZONE)
        day = max(math.sin(math.pi * (local.hour + local.minute / 60.0 - 6.0) / 14.0), 0.0)
        if self.job.phase is not Phase.LURING or not self.wasps:
            return 1.5 * day * (0.2 if rain else 1.0)
        grown = min(1.2 * 1.8 ** ((at - self.cycle_at) / DAY), 16.0)
        return grown * day * (0.1 if rain else 1.0)

    def history(self, notices: tuple[PastNotice, ...], now: datetime) -> History:
        """Return what the host knows of it."""
        job = self.job.at(now)
        state = StationState.LOST if self.dead else StationState.WATCHING
        health = Health(station=self.name, state=state, battery_percent=max(self.battery, 3.0))
        return History(SITE, self.name, job.phase, tuple(self.sent), health, notices, None, job)

    def _lose(self, at: datetime, span: timedelta) -> None:
        self.off.append((at, at + span))

    def _flap(self, at: datetime, until: datetime) -> None:
        while at < until:
            self._lose(at, timedelta(minutes=self.rng.uniform(14, 40)))
            at += timedelta(minutes=self.rng.uniform(50, 120))


def _visit(at_s: float) -> Crossing:
    return Crossing(at_s=at_s, direction=Direction.IN, size=SizeClass.WASP, length_mm=13.0)


def _poisson(rng: random.Random, mean: float) -> int:
    """Return a number of visits, by counting waits (Knuth's method, common practice)."""
    limit, count, product = math.exp(-mean), 0, rng.random()
    while product > limit:
        count, product = count + 1, product * rng.random()
    return count
