"""Sites, stations and contacts, on either database."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from orchard import SITE, STATION

from swapbell_host.books.ledger import Ledger
from swapbell_host.books.planbook import Planbook
from swapbell_host.books.servicebook import Servicebook
from swapbell_host.books.store import Store, ledger_url, open_existing
from swapbell_host.jobs.entry import Act, Draft
from swapbell_host.jobs.plan import Contact, Role, Site, Station, located
from swapbell_models.fault import Mistake
from swapbell_models.job import Terms
from swapbell_models.phase import Phase

NOW = datetime(2026, 1, 15, 9, 0, tzinfo=UTC)
HILL = Site(
    "hill", "Pacific/Auckland", 'an "orchard" <b>🐝</b>', Terms(toxic=timedelta(hours=60)), {"crop": "=apples"}
)
EAST = Station("hill", "east", NOW, Role.CONTROL, located(-42.8821, 147.3272), "fish", "board 2", "Kim")


@pytest.fixture
def store(ledger_name: str) -> Iterator[Store]:
    with open_existing(ledger_url(ledger_name), writing=True) as opened:
        yield opened


@pytest.fixture
def plan(store: Store) -> Planbook:
    book = Planbook(store)
    book.put_contact(Contact("Kim", "json://192.0.2.7"))
    book.add_site(HILL)
    book.add_station(EAST)
    return book


def log(store: Store, act: Act, days_ago: float, station: str = "east") -> None:
    at = NOW - timedelta(days=days_ago)
    Servicebook(store).add(Draft(site="hill", station=station, act=act, at=at, by="Kim"), NOW)


def test_a_site_is_read_as_it_was_written(plan: Planbook) -> None:
    assert plan.site("hill") == HILL


def test_a_station_is_read_as_it_was_written(plan: Planbook) -> None:
    assert plan.station("hill", "east") == EAST


def test_a_contact_is_read_as_it_was_last_written(plan: Planbook) -> None:
    plan.put_contact(Contact("Robin", "json://192.0.2.8"))
    plan.put_contact(Contact("Kim", "json://192.0.2.9", "Robin"))
    assert plan.contacts()["Kim"] == Contact("Kim", "json://192.0.2.9", "Robin")


def test_a_contact_is_dropped_when_nobody_relies_on_it(plan: Planbook) -> None:
    plan.put_contact(Contact("Robin", "json://192.0.2.8", "Kim"))
    with pytest.raises(Mistake, match="contact 'Kim': relied on by Robin, hill/east; change those first"):
        plan.drop_contact("Kim")
    plan.drop_contact("Robin")
    plan.change_station(replace(EAST, contact=None))
    plan.drop_contact("Kim")
    assert plan.contacts() == {}


def test_a_change_is_read_at_once(plan: Planbook) -> None:
    plan.change_site(replace(HILL, owner=None))
    plan.change_station(replace(EAST, bait=None, contact=None, place=None, enrolled_at=NOW))
    assert plan.site("hill").owner is None
    assert plan.station("hill", "east") == replace(EAST, bait=None, contact=None, place=None, enrolled_at=NOW)


def test_a_second_one_of_the_same_name_is_refused(plan: Planbook) -> None:
    with pytest.raises(Mistake, match="site hill: it is there already"):
        plan.add_site(Site("hill"))
    with pytest.raises(Mistake, match="station hill/east: it is there already"):
        plan.add_station(Station("hill", "east", NOW))


def test_what_is_not_there_is_answered_with_what_is(plan: Planbook) -> None:
    with pytest.raises(Mistake, match=r"site 'hull': there is none of that name; there are: hill, orchard"):
        plan.site("hull")
    with pytest.raises(Mistake, match=r"station 'hill/west': .*; there are: hill/east, orchard/north"):
        plan.station("hill", "west")
    with pytest.raises(Mistake, match=r"contact 'Jo': .*; there are: Kim"):
        plan.add_station(Station("hill", "west", NOW, contact="Jo"))
    with pytest.raises(Mistake, match="there is no site valley"):
        plan.add_station(Station("valley", "west", NOW))


def test_what_is_not_there_is_not_changed(plan: Planbook) -> None:
    with pytest.raises(Mistake, match="site valley: there is none"):
        plan.change_site(Site("valley"))
    with pytest.raises(Mistake, match="station hill/west: there is none"):
        plan.change_station(Station("hill", "west", NOW))


def test_a_station_on_the_other_half_of_the_earth_is_refused(plan: Planbook) -> None:
    with pytest.raises(Mistake, match=r"km from the next station of its site, .* check its sign"):
        plan.add_station(Station("hill", "west", NOW, place=located(42.8821, 147.3272)))
    plan.add_station(Station("hill", "west", NOW, place=located(-42.89, 147.33)))


def test_a_station_that_had_toxic_bait_does_not_become_a_control(store: Store, plan: Planbook) -> None:
    plan.add_station(Station("hill", "west", NOW))
    log(store, Act.LURED, 3, "west")
    log(store, Act.SWAPPED, 1, "west")
    with pytest.raises(Mistake, match="hill/west: its log forbids this change: 'swapped'"):
        plan.change_station(replace(plan.station("hill", "west"), role=Role.CONTROL))


def test_terms_with_which_the_log_could_not_have_happened_are_refused(store: Store, plan: Planbook) -> None:
    plan.add_station(Station("hill", "west", NOW))
    for act, days_ago in ((Act.LURED, 9), (Act.SWAPPED, 6), (Act.LOST, 1)):
        log(store, act, days_ago, "west")
    with pytest.raises(Mistake, match="hill/west: its log forbids this change: 'lost'"):
        plan.change_site(replace(HILL, terms=Terms(toxic=timedelta(days=7))))


def test_a_station_that_only_the_configuration_names_is_planned_as_it_states(ledger_name: str) -> None:
    with Ledger(ledger_url(ledger_name), {("valley", "gate"): Phase.TOXIC}, NOW) as ledger:
        assert ("valley", "gate") in ledger.stations
        assert ledger.history("valley", "gate", NOW).phase is Phase.TOXIC
    with open_existing(ledger_url(ledger_name)) as store:
        assert Planbook(store).station("valley", "gate").made_at == NOW
        assert Planbook(store).site("valley").zone == "UTC"


def test_what_the_configuration_states_holds_until_something_is_logged(ledger_name: str) -> None:
    url = ledger_url(ledger_name)
    with Ledger(url, {(SITE, STATION): Phase.TOXIC}, NOW) as ledger:
        assert ledger.history(SITE, STATION, NOW).phase is Phase.TOXIC
    with open_existing(url, writing=True) as store:
        Servicebook(store).add(Draft(site=SITE, station=STATION, act=Act.WITHDRAWN, at=NOW, by="Kim"), NOW)
    with Ledger(url, {(SITE, STATION): Phase.LURING}, NOW) as ledger:
        assert ledger.history(SITE, STATION, NOW).phase is Phase.WITHDRAWN


def test_a_station_that_was_planned_here_is_where_its_log_says_whatever_the_configuration_states(
    ledger_name: str, plan: Planbook
) -> None:
    with Ledger(ledger_url(ledger_name), {EAST.key: Phase.LURING}, NOW) as ledger:
        assert ledger.history(*EAST.key, NOW).phase is Phase.PLANNED
