"""The service log in the ledger, on either database: only ever added to."""

import threading
from collections.abc import Iterator
from dataclasses import fields
from datetime import UTC, datetime, timedelta

import pytest
from orchard import SITE, STATION
from sqlalchemy import create_engine, text
from sqlalchemy.exc import DBAPIError

from swapbell_host.books.logrows import entry_of, next_id, put_entry
from swapbell_host.books.planbook import Planbook
from swapbell_host.books.servicebook import STALE, Servicebook
from swapbell_host.books.store import Store, ledger_url, open_existing
from swapbell_host.jobs.entry import Act, Draft, Entry
from swapbell_host.jobs.plan import Role, Station, located
from swapbell_models.fault import Mistake
from swapbell_models.job import Terms
from swapbell_models.phase import Phase

NOW = datetime(2026, 1, 15, 9, 0, tzinfo=UTC)
DAY = timedelta(days=1)


def draft(act: Act, days_ago: float = 0.0, **more: object) -> Draft:
    fields: dict[str, object] = {"site": SITE, "station": "east", "act": act, "at": NOW - days_ago * DAY, "by": "Kim"}
    return Draft(**(fields | more))


@pytest.fixture
def store(ledger_name: str) -> Iterator[Store]:
    with open_existing(ledger_url(ledger_name), writing=True) as opened:
        Planbook(opened).add_station(Station(SITE, "east", NOW - 30 * DAY))
        yield opened


@pytest.fixture
def book(store: Store) -> Servicebook:
    return Servicebook(store)


def logged(book: Servicebook, *acts: tuple[Act, float]) -> list[Entry]:
    return [book.add(draft(act, days_ago), NOW) for act, days_ago in acts]


def test_an_entry_is_read_as_it_was_written(store: Store, book: Servicebook) -> None:
    said = draft(
        Act.MOVED,
        mass_g=0.1,
        weather="dry;\ncalm",
        non_targets="2 honey bees 🐝",
        incident="<i>none</i>",
        note='"quoted"',
        photo="abc.jpg",
        place=located(-42.0, 147.0),
        details={"batch": "=7"},
    )
    entry = book.add(said, NOW)
    assert Servicebook(store).entries(SITE, "east", NOW) == (entry,)
    assert {each.name: getattr(entry, each.name) for each in fields(Draft)} == {
        each.name: getattr(said, each.name) for each in fields(Draft)
    }
    assert (entry.id, entry.logged_at) == (1, NOW)


def test_the_log_says_where_the_job_stands(book: Servicebook) -> None:
    logged(book, (Act.LURED, 5), (Act.SWAPPED, 2))
    assert book.job(SITE, "east", NOW).phase is Phase.TOXIC
    assert book.job(SITE, "east", NOW + 2 * DAY).phase is Phase.OVERDUE
    assert book.job(SITE, STATION, NOW).phase is Phase.LURING


def test_the_terms_of_the_site_say_when_toxic_bait_is_due_out(store: Store, book: Servicebook) -> None:
    plan = Planbook(store)
    logged(book, (Act.LURED, 5), (Act.SWAPPED, 2))
    assert book.job(SITE, "east", NOW).phase is Phase.TOXIC
    site = plan.site(SITE)
    plan.change_site(type(site)(site.name, terms=Terms(toxic=DAY)))
    assert book.job(SITE, "east", NOW + STALE).phase is Phase.OVERDUE


def test_an_illegal_step_is_refused_and_nothing_is_written(book: Servicebook) -> None:
    with pytest.raises(
        Mistake, match=r"orchard/east: 'withdrawn' at .* is not legal while planned; legal then: lured"
    ):
        book.add(draft(Act.WITHDRAWN), NOW)
    assert book.entries(SITE, "east", NOW) == ()


def test_a_control_station_is_never_swapped(store: Store, book: Servicebook) -> None:
    Planbook(store).add_station(Station(SITE, "far", NOW, Role.CONTROL))
    book.add(draft(Act.LURED, station="far"), NOW)
    with pytest.raises(Mistake, match="as a control station"):
        book.add(draft(Act.SWAPPED, station="far"), NOW)


def test_of_a_station_that_is_not_there_nothing_is_logged(book: Servicebook) -> None:
    with pytest.raises(Mistake, match="station 'orchard/west': there is none"):
        book.add(draft(Act.LURED, station="west"), NOW)


def test_a_correction_leaves_both_to_be_seen(book: Servicebook) -> None:
    logged(book, (Act.LURED, 5), (Act.SWAPPED, 2))
    book.add(draft(Act.REFRESHED, 2, corrects=2), NOW)
    assert [(each.id, each.act) for each in book.entries(SITE, "east", NOW)] == [
        (1, Act.LURED),
        (2, Act.SWAPPED),
        (3, Act.REFRESHED),
    ]
    assert book.job(SITE, "east", NOW).phase is Phase.LURING


def test_an_entry_of_another_station_is_not_corrected(book: Servicebook) -> None:
    logged(book, (Act.LURED, 5))
    with pytest.raises(Mistake, match="orchard/north: entry 1 is not one of this station's; they are: none"):
        book.add(draft(Act.SEEN, station=STATION, corrects=1), NOW)


def test_what_another_logs_is_seen_within_a_second(store: Store, book: Servicebook) -> None:
    assert book.job(SITE, "east", NOW).phase is Phase.PLANNED
    logged(Servicebook(store), (Act.LURED, 0))
    assert book.job(SITE, "east", NOW + STALE).phase is Phase.LURING


def test_a_station_that_another_adds_is_seen_within_a_second(store: Store, book: Servicebook) -> None:
    assert (SITE, "west") not in book.stations(NOW)
    Planbook(store).add_station(Station(SITE, "west", NOW))
    assert (SITE, "west") in book.stations(NOW + STALE)


@pytest.mark.parametrize(
    "order",
    [
        "UPDATE service SET mass_g = 1.0 WHERE id = 1",
        "UPDATE service SET corrects = 1",
        "DELETE FROM service WHERE id = 2",
        "DELETE FROM service",
    ],
)
def test_the_database_itself_refuses_to_change_the_log(ledger_name: str, book: Servicebook, order: str) -> None:
    logged(book, (Act.LURED, 5), (Act.SWAPPED, 2))
    before = book.entries(SITE, "east", NOW)
    refused(ledger_name, order)
    with open_existing(ledger_url(ledger_name)) as store:
        assert Servicebook(store).entries(SITE, "east", NOW) == before


@pytest.mark.file
@pytest.mark.parametrize(("number", "row"), [("id", 1), ("id + 9", 2)])
def test_sqlite_does_not_replace_what_is_logged(sqlite_ledger: str, number: str, row: int) -> None:
    with open_existing(ledger_url(sqlite_ledger), writing=True) as store:
        book = Servicebook(store)
        book.add(draft(Act.SWAPPED, 2, station=STATION), NOW)
        book.add(draft(Act.SEEN, 2, station=STATION, corrects=1), NOW)
    rest = "corrects, site, station, act, happened_at, done_by, logged_at, details"
    refused(sqlite_ledger, f"REPLACE INTO service (id, {rest}) SELECT {number}, {rest} FROM service WHERE id = {row}")


def test_postgresql_does_not_empty_the_log(request: pytest.FixtureRequest) -> None:
    running = request.getfixturevalue("cluster")
    refused(running.database(like=request.getfixturevalue("blank_database")), "TRUNCATE service")


def refused(ledger_name: str, order: str) -> None:
    engine = create_engine(ledger_url(ledger_name))
    with pytest.raises(DBAPIError, match="the service log is only added to"), engine.begin() as connection:
        connection.execute(text(order))
    engine.dispose()


def test_who_logs_waits_for_another_who_does_and_is_judged_by_what_that_one_logged(
    ledger_name: str, store: Store, book: Servicebook
) -> None:
    logged(book, (Act.LURED, 5))
    refusals: list[str] = []

    def swap() -> None:
        with open_existing(ledger_url(ledger_name), writing=True) as mine:
            try:
                Servicebook(mine).add(draft(Act.SWAPPED), NOW)
            except Mistake as mistake:
                refusals.append(str(mistake))

    second = threading.Thread(target=swap)
    with store.transaction() as connection:
        second.start()
        put_entry(connection, entry_of(draft(Act.SWAPPED), next_id(connection), NOW))
        second.join(0.3)
        assert second.is_alive()
    second.join()
    assert len(refusals) == 1
    assert "'swapped' at 2026-01-15 09:00 UTC is not legal while toxic" in refusals[0]
