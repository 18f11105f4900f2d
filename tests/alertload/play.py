"""Plays a season: the real rules, the real policy and the real outbox, with an invented world and its own clock."""

import random
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from sqlalchemy import select

from alertload.keepers import MINUTE, Habits, Keeper
from alertload.world import DAY, HOUR, SITE, TALLY, ZONE, Odds, Station
from swapbell_host import rules
from swapbell_host.alerting.alerts import Alerts, Outlet
from swapbell_host.alerting.answer import acknowledge
from swapbell_host.alerting.channel import Channel
from swapbell_host.alerting.courier import Courier, Errand
from swapbell_host.alerting.people import People
from swapbell_host.books.notebook import Notebook
from swapbell_host.books.schema import notices
from swapbell_host.books.store import Store, ledger_url, open_or_make
from swapbell_host.books.tellingbook import Tellingbook
from swapbell_host.books.tellingtables import tellings, told
from swapbell_host.config import AlertsSection
from swapbell_host.jobs.plan import Contact, Site
from swapbell_host.jobs.plan import Station as Planned
from swapbell_host.jobs.quiet import quiet
from swapbell_host.judging.history import History
from swapbell_host.judging.waiting import OVERDUE_AFTER
from swapbell_models.fault import Mistake
from swapbell_models.job import Job
from swapbell_models.notice import Notice, NoticeKind, notice
from swapbell_models.phase import Event, Phase
from swapbell_models.readiness import Rule

STEP = 3 * TALLY
RULE = Rule()
# Midnight at the site, at the height of a southern season.
START_AT = datetime(2026, 1, 5, 0, 0, tzinfo=ZONE).astimezone(UTC)
WEEKS_PER_MAIL_OUTAGE, WEEKS_PER_BROKER_OUTAGE, WEEKS_PER_HOST_OUTAGE = 4, 2, 6
FIRST_HOUR, LAST_HOUR, TRIP_HOURS = 6, 21, (7, 12)


@dataclass(frozen=True, slots=True)
class Season:
    """What is played."""

    days: int
    stations: int
    seed: int = 1
    odds: Odds = field(default_factory=Odds)
    habits: Habits = field(default_factory=Habits)
    shared: bool = False  # whether the second person has half of the stations


class Hand(Courier):
    """A courier without threads: what is carried has arrived, or not, at once."""

    def carry(self, errand: Errand, channel: Channel) -> None:
        """Deliver at once."""
        errand.taken = channel.send(errand.title, errand.body)
        self._underway[errand.person] = errand, None  # type: ignore[assignment]


@dataclass(slots=True)
class Mail:
    """The channel of one person."""

    play: "Play"
    keeper: Keeper

    def send(self, title: str, body: str) -> bool:
        """Take a message, if the mail server lives."""
        self.play.longest = max(self.play.longest, len(body))
        return self.keeper.is_reached(self.play.now)


class Book(Tellingbook):
    """The real outbox, which also lets the invented people have what was delivered."""

    def __init__(self, store: Store, keepers: dict[str, Keeper]) -> None:
        super().__init__(store)
        self._keepers = keepers

    def taken(self, telling_id: int, at: datetime) -> None:
        """Note it, and give it to the person."""
        super().taken(telling_id, at)
        named = (
            select(tellings.c.person, notices.c.id, notices.c.station)
            .join(told, told.c.telling_id == tellings.c.id)
            .join(notices, notices.c.id == told.c.notice_id)
            .where(tellings.c.id == telling_id)
        )
        with self._store.reading() as connection:
            rows = connection.execute(named).all()
        self._keepers[rows[0].person].receive(tuple((row.id, row.station) for row in rows), at)


@dataclass(slots=True)
class Outages:
    """When the broker, and when the host, was away."""

    broker: list[tuple[datetime, datetime]] = field(default_factory=list[tuple[datetime, datetime]])
    host: list[tuple[datetime, datetime]] = field(default_factory=list[tuple[datetime, datetime]])


class Play:
    """One season.

    Attributes
    ----------
    raised_at
        When the rules raised each notice, by what names it.
    longest
        Letters of the longest message.
    """

    def __init__(self, season: Season, folder: Path) -> None:
        self.season, self.rng, self.now = season, random.Random(season.seed), START_AT
        self.longest, self.raised_at = 0, dict[tuple[str, NoticeKind, datetime], datetime]()
        self.stations = [self._station(number) for number in range(season.stations)]
        self.keepers = {
            "Kim": Keeper("Kim", self.rng, quiet("21:00-06:00"), season.habits),
            "Robin": Keeper("Robin", self.rng, quiet("22:00-07:00"), season.habits),
        }
        self.store = open_or_make(ledger_url(str(folder / "season.sqlite")))
        self.notebook, self.tellings = Notebook(self.store), Book(self.store, self.keepers)
        self.people = self._people()
        self.alerts = Alerts(self.notebook, self.tellings, self._outlet())
        self.outages, self._rain = self._outages(), False
        self._listening_since: datetime | None = START_AT
        self._away, self._trip_hour = False, 0

    def run(self) -> None:
        """Play it to its end."""
        for number in range(self.season.days * int(DAY / STEP)):
            self.now = START_AT + number * STEP
            local = self.now.astimezone(ZONE)
            if local.hour == 0 and local.minute < STEP / MINUTE:
                self._begin_day()
            if not _within(self.outages.host, self.now):
                self._work(by_day=FIRST_HOUR <= local.hour < LAST_HOUR, turn=number)
            self._live(trip=local.hour == self._trip_hour and local.minute == 0)

    def _station(self, number: int) -> Station:
        begun_at = START_AT + self.rng.uniform(0.0, 7.0) * DAY
        found = Station(f"s{number:02}", self.rng, self.season.odds, Job(START_AT), begun_at)
        found.new_lure(START_AT)
        return found

    def _people(self) -> People:
        contacts = {
            "Kim": Contact("Kim", "invented://kim", "Robin", self.keepers["Kim"].quiet),
            "Robin": Contact("Robin", "invented://robin", "Kim", self.keepers["Robin"].quiet),
        }
        first = ["Kim", "Robin" if self.season.shared else "Kim"]
        plan = {
            (SITE, each.name): Planned(SITE, each.name, START_AT, contact=first[number % 2])
            for number, each in enumerate(self.stations)
        }
        return People(AlertsSection(), contacts, plan, {SITE: Site(SITE, ZONE.key)})

    def _outlet(self) -> Outlet:
        ways = {f"invented://{name.lower()}": Mail(self, keeper) for name, keeper in self.keepers.items()}
        return Outlet(lambda _: self.people, lambda *_: None, lambda _: None, Hand(), ways.__getitem__)

    def _outages(self) -> Outages:
        for keeper in self.keepers.values():
            keeper.dead = self._times(WEEKS_PER_MAIL_OUTAGE, 5.0, 40.0)
        return Outages(self._times(WEEKS_PER_BROKER_OUTAGE, 1.0, 30.0), self._times(WEEKS_PER_HOST_OUTAGE, 2.0, 10.0))

    def _times(self, every_weeks: int, low_h: float, high_h: float) -> list[tuple[datetime, datetime]]:
        begun = [
            START_AT + self.rng.uniform(0, self.season.days) * DAY
            for _ in range(-(-self.season.days // (7 * every_weeks)))
        ]
        return [(at, at + self.rng.uniform(low_h, high_h) * HOUR) for at in begun]

    def _begin_day(self) -> None:
        self._rain = self.rng.random() < self.season.odds.rainy_day
        self._trip_hour = self.rng.randint(*TRIP_HOURS)
        for station in self.stations:
            station.begin_day(self.now)

    def _work(self, *, by_day: bool, turn: int) -> None:
        """Do what the host does in one turn."""
        away = _within(self.outages.broker, self.now)
        back = self._away and not away
        self._listening_since = (
            None if away else self.now if back or self._listening_since is None else self._listening_since
        )
        self._away = away
        for station in self.stations:
            if not away:
                self._send(station, 12 if back else 3)
            if by_day or turn % 2 == 0:
                self._look(station)
        self.alerts.advance(self.now)
        for seconds in (61, 62) if self.tellings.waiting() else ():
            self.alerts.advance(self.now + timedelta(seconds=seconds))

    def _send(self, station: Station, tallies: int) -> None:
        for k in reversed(range(tallies)):
            at = self.now - k * TALLY
            if station.hears(at):
                station.send(at, self._rain)

    def _look(self, station: Station) -> None:
        history = station.history(self.notebook.past(SITE, station.name, self.now), self.now)
        seen = rules.verdict(history, self.now, RULE)
        for past in rules.ended(history):
            self.notebook.end(past.id, self.now)
        for each in rules.news(seen, history, self.now, RULE, self._listening_since):
            self._tell(station, each)
        for kind in self._slow_news(station, history):
            if rules.is_news(kind, history.notices, self.now):
                self._tell(station, notice(SITE, station.name, kind, self.now, "invented"))

    def _tell(self, station: Station, each: Notice) -> None:
        if self.alerts.tell(each, self.now):
            self.raised_at[each.station, each.kind, each.raised_at] = self.now
            station.told.setdefault(each.kind.value, self.now)

    def _slow_news(self, station: Station, history: History) -> Iterator[NoticeKind]:
        """Yield the kinds that need the ledger's longer memory, at moments that are invented."""
        per_look, phase = STEP / DAY, history.phase
        if self.rng.random() < station.odds.hole * per_look:
            yield NoticeKind.HOLE
        if phase is Phase.LURING:
            yield from self._lure_news(station, history, per_look)
        if phase is Phase.VERIFYING and self._once(station, "a fall", 1.5 * DAY):
            yield NoticeKind.COLLAPSED
        if phase is Phase.VERIFYING and self._once(station, "a return", 3.5 * DAY) and self.rng.random() < 0.2:
            yield NoticeKind.REINVASION

    def _lure_news(self, station: Station, history: History, per_look: float) -> Iterator[NoticeKind]:
        if self.rng.random() < station.odds.visitors * per_look:
            yield NoticeKind.VISITORS
        if station.wasps and self._once(station, "a forecast", 2.5 * DAY):
            yield NoticeKind.FORECAST
        ready_at = station.told.get(NoticeKind.READY.value)
        if ready_at and self.now - ready_at >= OVERDUE_AFTER and not history.open(NoticeKind.VISITORS):
            yield NoticeKind.SWAP_OVERDUE

    def _once(self, station: Station, word: str, after: timedelta) -> bool:
        since = max(station.cycle_at, station.job.withdrawn_at or station.cycle_at)
        if word in station.told or self.now - since < after:
            return False
        station.told[word] = self.now
        return True

    def _live(self, *, trip: bool) -> None:
        """Let people read, answer and drive out."""
        for keeper in self.keepers.values():
            for number in keeper.read(self.now):
                with suppress(Mistake):  # somebody else has seen to it
                    acknowledge(self.notebook, number, self.now, keeper.name)
            hurry = self._hurries(keeper)
            if keeper.todo and (hurry or (trip and self.rng.random() >= keeper.habits.stays)):
                for station in self.stations:
                    if station.name in keeper.todo:
                        self._visit(station)
                keeper.todo.clear()
        if trip:
            for station in self.stations:
                self._move_on(station)

    def _hurries(self, keeper: Keeper) -> bool:
        """Tell whether somebody drives out for toxic bait that is left out: by day, within hours of reading of it."""
        if not FIRST_HOUR <= self.now.astimezone(ZONE).hour < LAST_HOUR - 1:
            return False
        late = any(s.name in keeper.todo and s.job.at(self.now).phase is Phase.OVERDUE for s in self.stations)
        return late and self.rng.random() < keeper.habits.hurries * (STEP / (2 * HOUR))

    def _visit(self, station: Station) -> None:
        """Do what a person does at a station after having read of it."""
        station.repair()
        phase = station.job.at(self.now).phase
        if phase is Phase.LURING and NoticeKind.READY.value in station.told:
            station.do(Event.SWAPPED, self.now)
            station.wasps = False
        elif phase in {Phase.TOXIC, Phase.OVERDUE} and self.now >= (station.job.swapped_at or self.now) + 2.4 * DAY:
            for event in (Event.WITHDRAWN, Event.DISPOSED, Event.RELURED):
                station.do(event, self.now)

    def _move_on(self, station: Station) -> None:
        """Begin anew where a nest is verified dead, or where none was found."""
        job = station.job.at(self.now)
        verified = job.phase is Phase.VERIFYING and self.now - (job.withdrawn_at or self.now) > 5 * DAY
        idle = job.phase is Phase.LURING and not station.wasps and self.now - station.cycle_at > 9 * DAY
        if verified or idle:
            station.new_lure(self.now)


def _within(spans: list[tuple[datetime, datetime]], at: datetime) -> bool:
    return any(begin <= at < end for begin, end in spans)
