"""What a slow look gathers from the ledger, and that the host tells it once."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np
import pytest
from growing import HUNG_AT, PLACE, Truth, grown
from orchard import SITE, STATION, topic_of

from swapbell_host import rules
from swapbell_host.board import Board, Seen
from swapbell_host.books.ledger import Ledger
from swapbell_host.books.planbook import Planbook
from swapbell_host.books.store import ledger_url
from swapbell_host.compare import Pieces
from swapbell_host.intake import Arrival
from swapbell_host.jobs.entry import Act, Draft
from swapbell_host.jobs.plan import Role, Station
from swapbell_host.judging.evidence import Evidence
from swapbell_host.review import COSTLY, Review
from swapbell_host.watch import Watch
from swapbell_models.calendar.place import Hemisphere, Place
from swapbell_models.forecasting.growth import Growth
from swapbell_models.message import Health, Held, StationState, Subject, encode
from swapbell_models.notice import Notice, NoticeKind, Urgency
from swapbell_models.phase import Phase
from swapbell_models.readiness import Rule
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Clock, Crossing, Direction, Tally
from swapbell_models.traffic import Window

KEY, RULE, HOUR, DAY = (SITE, STATION), Rule(), timedelta(hours=1), timedelta(days=1)
GROWN = grown(Truth(Growth.EXPONENTIAL, 3, 10.0, 12.0), np.random.default_rng(4))
NOW = GROWN.now + HOUR
_LOOK = Urgency.LOOK


def tally(from_at: datetime, visits: int, station: str = STATION, *, small: int = 0) -> Tally:
    """Return an hour as one tally, its bodies evenly through it."""
    bodies = [SizeClass.WASP] * visits + [SizeClass.SMALL] * small
    return Tally(
        station=station,
        boot="b1",
        seq=int((from_at - HUNG_AT) / HOUR) + 1,
        from_at=from_at,
        up_s=(from_at - HUNG_AT).total_seconds(),
        clock=Clock.SYNCED,
        seconds=3600.0,
        watched_s=3600.0,
        crossings=tuple(
            Crossing(at_s=3600.0 * k / len(bodies), direction=Direction.IN, size=size, length_mm=13.0)
            for k, size in enumerate(bodies)
        ),
    )


def hours(windows: tuple[Window, ...]) -> list[Tally]:
    return [tally(window.from_at, window.counted) for window in windows]


def flat(from_at: datetime, days: int, visits: int, station: str = STATION) -> list[Tally]:
    return [tally(from_at + k * HOUR, visits, station) for k in range(24 * days)]


@pytest.fixture
def ledger(sqlite_ledger: str) -> Iterator[Ledger]:
    with Ledger(ledger_url(sqlite_ledger), {KEY: Phase.LURING}, HUNG_AT) as opened:
        plan = Planbook(opened.store)
        plan.change_station(replace(plan.station(*KEY), place=PLACE))
        yield opened


def record(ledger: Ledger, told: list[Tally], at: datetime = NOW) -> None:
    ledger.record([Arrival(topic_of(Subject.TALLY, each.station), encode(each)) for each in told], at)


def log(ledger: Ledger, act: Act, at: datetime, **known: float) -> None:
    ledger.log.add(Draft(site=SITE, station=STATION, act=act, at=at, by="Kim", **known), at)


def evidence(ledger: Ledger, now: datetime = NOW, review: Review | None = None) -> Evidence:
    history = ledger.history(*KEY, now)
    seen = Seen(history, rules.verdict(history, now, RULE), now, RULE)
    return whole((review or Review(ledger)).of(seen, HUNG_AT))


def whole(pieces: Pieces[Evidence]) -> Evidence:
    """Do all the work at once."""
    while True:
        try:
            next(pieces)
        except StopIteration as done:
            return done.value


def test_traffic_that_grows_towards_the_rule_is_forecast_a_day_ahead(ledger: Ledger) -> None:
    record(ledger, hours(GROWN.windows))
    told = evidence(ledger).forecast
    assert told is not None
    assert "Get ready, but wait for the call" in told


def test_a_forecast_is_made_a_few_times_a_day_alone(ledger: Ledger) -> None:
    record(ledger, hours(GROWN.windows))
    review = Review(ledger)
    assert evidence(ledger, NOW, review).forecast
    assert evidence(ledger, NOW + COSTLY - timedelta(seconds=1), review).forecast is None
    assert evidence(ledger, NOW + COSTLY, review).forecast


def test_without_a_place_there_is_no_forecast(ledger: Ledger) -> None:
    plan = Planbook(ledger.store)
    plan.change_station(replace(plan.station(*KEY), place=None))
    record(ledger, hours(GROWN.windows))
    assert evidence(ledger).forecast is None


def test_the_counts_of_two_days_are_there_and_no_more(ledger: Ledger) -> None:
    record(ledger, flat(HUNG_AT, 3, 12))
    counts = evidence(ledger, HUNG_AT + 3 * DAY).counts
    assert counts[0].from_at == HUNG_AT + DAY
    assert sum(each.visits for each in counts) == 2 * 24 * 12


def test_what_was_told_is_there_with_what_became_of_it(ledger: Ledger) -> None:
    notice = Notice(SITE, STATION, NoticeKind.VISITORS, _LOOK, HUNG_AT, "ants")
    ledger.notebook.raise_notice(notice, HUNG_AT)
    ledger.notebook.end(1, HUNG_AT + HOUR)
    (past,) = evidence(ledger).told
    assert (past.kind, past.raised_at, past.ended_at, past.is_open) == (
        NoticeKind.VISITORS,
        HUNG_AT,
        HUNG_AT + HOUR,
        False,
    )


def test_a_hole_lies_where_the_tally_before_it_was_counted(ledger: Ledger) -> None:
    told = [retold for retold in quarters(2000) if not 1000 < retold.seq <= 1300]
    record(ledger, told)
    (hole,) = evidence(ledger, HUNG_AT + timedelta(seconds=15 * 2000)).missing
    assert (hole.from_at, hole.tallies, hole.lost) == (told[999].from_at, 300, False)
    gone = Health(station=STATION, state=StationState.WATCHING, oldest=(Held(boot="b1", seq=1900),))
    ledger.record([Arrival(topic_of(Subject.HEALTH), encode(gone))], NOW)
    assert evidence(ledger, HUNG_AT + timedelta(seconds=15 * 2000)).missing[0].lost


def quarters(number: int) -> list[Tally]:
    """Return tallies of a quarter of a minute each."""
    return [
        Tally(
            station=STATION,
            boot="b1",
            seq=seq,
            from_at=HUNG_AT + timedelta(seconds=15.0 * (seq - 1)),
            up_s=15.0 * (seq - 1),
            clock=Clock.SYNCED,
            seconds=15.0,
            watched_s=15.0,
        )
        for seq in range(1, number + 1)
    ]


def verifying(ledger: Ledger, after: int) -> datetime:
    """Swap a station after two days at 30 visits an hour, and let so many come since the fresh lure; return now."""
    swapped_at, withdrawn_at, relured_at = HUNG_AT + 2 * DAY, HUNG_AT + 4 * DAY, HUNG_AT + 4 * DAY + HOUR
    now = HUNG_AT + 7 * DAY
    log(ledger, Act.REFRESHED, HUNG_AT + DAY / 2)
    log(ledger, Act.SWAPPED, swapped_at, mass_g=80.0)
    log(ledger, Act.WITHDRAWN, withdrawn_at, mass_g=60.0)
    log(ledger, Act.RELURED, relured_at)
    record(ledger, flat(HUNG_AT, 2, 30) + flat(HUNG_AT + 2 * DAY, 5, after), now)
    return now


def test_a_station_that_verifies_is_compared_with_before(ledger: Ledger) -> None:
    now = verifying(ledger, 1)
    found = evidence(ledger, now).finding
    assert found is not None
    assert found.fall is not None
    assert found.fall.high is not None
    assert found.fall.high < 0.1
    assert found.controls is None


def test_control_stations_of_the_site_are_compared_with(ledger: Ledger) -> None:
    far = Station(SITE, "far", HUNG_AT, role=Role.CONTROL, place=PLACE)
    Planbook(ledger.store).add_station(far)
    ledger.admit(HUNG_AT + timedelta(seconds=5))
    for act, at in ((Act.LURED, HUNG_AT + timedelta(minutes=1)), (Act.REFRESHED, HUNG_AT + 4 * DAY)):
        ledger.log.add(Draft(site=SITE, station="far", act=act, at=at, by="Kim"), at)
    record(ledger, flat(HUNG_AT, 7, 30, "far"), HUNG_AT + 7 * DAY)
    found = evidence(ledger, verifying(ledger, 1)).finding
    assert found is not None
    assert found.controls is not None
    assert found.against is not None


@dataclass
class Quiet:
    """A broker's end that nobody listens to, and alerts that are only noted."""

    listening_since: datetime | None = HUNG_AT
    connection: int = 1

    def __post_init__(self) -> None:
        self.told: list[Notice] = []

    def show(self, *_: object) -> None:
        pass

    def tell(self, notice: Notice, at: datetime) -> bool:
        self.told.append(notice)
        return True


def test_a_site_is_no_whole_before_each_of_its_stations_was_looked_at(ledger: Ledger) -> None:
    far = Station(SITE, "far", HUNG_AT, place=PLACE)
    Planbook(ledger.store).add_station(far)
    ledger.admit(HUNG_AT + timedelta(seconds=5))
    ledger.log.add(Draft(site=SITE, station="far", act=Act.LURED, at=HUNG_AT, by="Kim"), HUNG_AT + HOUR)
    record(ledger, [tally(NOW - HOUR, 400), tally(NOW - HOUR, 400, "far")])
    quiet = Quiet()
    watch = Watch(ledger, quiet, quiet, {KEY: RULE, far.key: RULE}, Board(), lambda: NOW, print, print)
    watch.look(*KEY)
    watch.look(*far.key)
    assert ["its 2 stations" in notice.text for notice in quiet.told] == [True]


def test_a_call_tells_of_bees_that_were_logged(ledger: Ledger) -> None:
    bees = Draft(site=SITE, station=STATION, act=Act.SEEN, at=NOW - 2 * HOUR, by="Kim", non_targets="3 honey bees")
    ledger.log.add(bees, NOW - 2 * HOUR)
    record(ledger, [tally(NOW - HOUR, 400)])
    quiet = Quiet()
    Watch(ledger, quiet, quiet, {KEY: RULE}, Board(), lambda: NOW, print, print).look(*KEY)
    (told,) = quiet.told
    assert "do not swap before somebody has looked: 3 honey bees (logged " in told.text


def test_a_quiet_station_is_called_once_its_site_is_ready_and_not_before(ledger: Ledger) -> None:
    far = Station(SITE, "far", HUNG_AT, place=PLACE)
    Planbook(ledger.store).add_station(far)
    ledger.admit(HUNG_AT + timedelta(seconds=5))
    ledger.log.add(Draft(site=SITE, station="far", act=Act.LURED, at=HUNG_AT, by="Kim"), HUNG_AT + HOUR)
    record(ledger, [tally(NOW - HOUR, 400), tally(NOW - HOUR, 0, "far")])
    quiet = Quiet()
    watch = Watch(ledger, quiet, quiet, {KEY: RULE, far.key: RULE}, Board(), lambda: NOW, print, print)
    for key in (far.key, KEY, far.key):
        watch.look(*key)
    assert [(notice.station, notice.kind) for notice in quiet.told] == [
        (STATION, NoticeKind.READY),
        ("far", NoticeKind.READY),
    ]


def test_a_review_tells_what_is_news_and_closes_what_is_over(ledger: Ledger) -> None:
    now = verifying(ledger, 1)
    quiet, said = Quiet(), list[str]()
    watch = Watch(ledger, quiet, quiet, {KEY: RULE}, Board(), lambda: now, said.append, said.append)
    stale = Notice(SITE, STATION, NoticeKind.HOLE, _LOOK, now - 2 * DAY, "a hole")
    ledger.notebook.raise_notice(stale, now)
    watch.begin_review(*KEY)
    watch.go_on()
    assert quiet.told == [], "the first piece of the work is not the whole of it"
    for _ in range(5):
        watch.go_on()
    assert NoticeKind.COLLAPSED in {notice.kind for notice in quiet.told}
    assert any("notice 1 ended: what was missing has come, or is a day old" in line for line in said)


def test_where_the_sun_does_not_rise_there_is_no_forecast_and_no_harm(ledger: Ledger) -> None:
    plan = Planbook(ledger.store)
    plan.change_station(replace(plan.station(*KEY), place=Place(-89.0, 0.0, Hemisphere.SOUTH)))
    winter = HUNG_AT + timedelta(days=140)
    log(ledger, Act.REFRESHED, winter - DAY)
    assert evidence(ledger, winter).forecast is None
