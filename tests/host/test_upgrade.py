"""Ledgers of every revision, as they were written then, open today with all that they hold."""

import shutil
from datetime import timedelta
from pathlib import Path

import pytest
from msgspec.structs import replace
from orchard import NOON_AT, SITE, STATION, STATIONS, tally, visits
from postgres_child import Cluster
from postgres_instead import in_postgresql
from sqlalchemy import text

from swapbell_host.alerting.outbox import Why
from swapbell_host.books.accountbook import Accountbook
from swapbell_host.books.countbook import Countbook
from swapbell_host.books.ledger import Ledger
from swapbell_host.books.notebook import Notebook
from swapbell_host.books.planbook import Planbook
from swapbell_host.books.schema import REVISIONS
from swapbell_host.books.sequence import Hole
from swapbell_host.books.servicebook import Servicebook
from swapbell_host.books.store import ledger_url, open_existing
from swapbell_host.books.tellingbook import Tellingbook
from swapbell_host.count import Count
from swapbell_host.jobs.account import Account, Right
from swapbell_host.jobs.entry import Act
from swapbell_host.jobs.plan import Role, place
from swapbell_host.jobs.quiet import quiet
from swapbell_models.message import Health, StationState
from swapbell_models.phase import Phase
from swapbell_models.tally import Hindrance, Sight

LEDGERS = Path(__file__).with_name("ledgers")


@pytest.fixture(params=["sqlite", "postgresql"])
def ledger_name(request: pytest.FixtureRequest, tmp_path: Path, revision: str) -> str:
    """Return the ledger of a revision, on either database."""
    path = LEDGERS / f"{revision}.ledger"
    if request.param == "sqlite":
        return str(shutil.copy(path, tmp_path))
    cluster: Cluster = request.getfixturevalue("cluster")
    return in_postgresql(path, cluster.database(), revision)


def test_a_ledger_of_every_revision_is_kept() -> None:
    assert tuple(sorted(path.stem for path in LEDGERS.iterdir())) == REVISIONS


@pytest.mark.parametrize("revision", REVISIONS)
def test_an_old_ledger_opens_with_all_that_it_holds(ledger_name: str) -> None:
    now = NOON_AT + timedelta(minutes=10)
    with Ledger(ledger_url(ledger_name), STATIONS, now) as ledger:
        history = ledger.history(SITE, STATION, now)
        holes = ledger.holes(SITE, STATION)
        notices = [entry.notice.text for entry in ledger.notebook.open_notices()]
    assert list(history.tallies) == [tally(seq, crossings=visits(1.0, 2.0)) for seq in range(1, 11) if seq != 4]
    assert history.health == Health(station=STATION, state=StationState.WATCHING, fps=30.0)
    assert holes == [Hole("b1", 4, 4, lost=False)]
    assert notices == ["Ten visits in five minutes."]


@pytest.mark.parametrize("revision", [revision for revision in REVISIONS if revision >= "0004"])
def test_an_old_ledger_opens_with_its_plan_and_its_log(ledger_name: str) -> None:
    with Ledger(ledger_url(ledger_name), STATIONS, NOON_AT):
        pass
    with open_existing(ledger_url(ledger_name)) as store:
        book = Servicebook(store)
        north = book.stations(NOON_AT)[SITE, STATION]
        assert (north.bait, north.contact, north.place) == ("fish", "Kim", place("42.8821 S 147.3272 E"))
        assert book.stations(NOON_AT)[SITE, "south"].role is Role.CONTROL
        assert book.sites(NOON_AT)[SITE].zone == "Pacific/Auckland"
        logged = [
            (entry.id, entry.act, entry.mass_g, entry.corrects) for entry in book.entries(SITE, STATION, NOON_AT)
        ]
    assert logged == [(1, Act.LURED, 80.0, None), (2, Act.REFRESHED, 8.0, None), (3, Act.REFRESHED, 80.0, 2)]


@pytest.mark.parametrize("revision", REVISIONS)
def test_the_stations_of_a_configuration_are_in_an_old_ledgers_plan(ledger_name: str) -> None:
    with Ledger(ledger_url(ledger_name), STATIONS, NOON_AT):
        pass
    with open_existing(ledger_url(ledger_name)) as store:
        assert Servicebook(store).job(SITE, STATION, NOON_AT).phase is Phase.LURING


@pytest.mark.parametrize("revision", [revision for revision in REVISIONS if revision >= "0003"])
def test_an_old_ledger_tells_how_well_its_counters_saw(ledger_name: str) -> None:
    now = NOON_AT + timedelta(minutes=10)
    with Ledger(ledger_url(ledger_name), {(SITE, "south"): Phase.LURING}, now) as ledger:
        told = ledger.history(SITE, "south", now).tallies
    sure = replace(visits(1.0)[0], confidence=0.9)
    seen = Sight(light=2.5, moving=0.0, dropped=1, blind_s=3.0, hindrance=Hindrance.LIGHT)
    assert told == (tally(1, station="south", crossings=(sure,), watched_s=12.0, sight=seen),)


@pytest.mark.parametrize("revision", REVISIONS)
def test_what_an_old_ledger_counted_is_told_before_and_after_it_is_summed(ledger_name: str) -> None:
    told = [Count(NOON_AT, visits=18, outs=0, small=0, large=0, seconds=135.0, watched_s=135.0)]
    with Ledger(ledger_url(ledger_name), STATIONS, NOON_AT) as ledger:
        assert counted(ledger_name) == told
        for _ in range(4):
            ledger.record([], NOON_AT)
        assert counted(ledger_name) == told
        assert ledger.holes(SITE, STATION) == [Hole("b1", 4, 4, lost=False)]
    with open_existing(ledger_url(ledger_name)) as store, store.reading() as connection:
        assert connection.execute(text("SELECT boot_id, visits FROM counts")).all()[0] == (1, 18)
        assert connection.execute(text("SELECT * FROM gaps")).all() == [(1, 4, 4)]


def counted(ledger_name: str) -> list[Count]:
    with open_existing(ledger_url(ledger_name)) as store:
        return Countbook(store).span(SITE, STATION, NOON_AT, NOON_AT + timedelta(hours=1))


@pytest.mark.parametrize("revision", [revision for revision in REVISIONS if revision >= "0005"])
def test_an_old_ledger_tells_who_was_told_and_who_may_sign_in(ledger_name: str) -> None:
    with Ledger(ledger_url(ledger_name), STATIONS, NOON_AT):
        pass
    now = NOON_AT + timedelta(minutes=10)
    with open_existing(ledger_url(ledger_name)) as store:
        told = [(each.person, each.why, each.taken_at) for each in Tellingbook(store).told(NOON_AT)]
        assert told == [("Kim", Why.FIRST, now)]
        assert [entry.shelved_until for entry in Notebook(store).open_notices()] == [now + timedelta(hours=2)]
        assert Accountbook(store).of(b"invented", now) == Account("Kim", Right.WORK)
        assert Planbook(store).contacts()["Kim"].quiet == quiet("21:00-06:00")
