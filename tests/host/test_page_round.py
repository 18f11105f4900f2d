"""The round: who needs a visit, in which order, and what to carry; no dose without a stated authority."""

from datetime import UTC, datetime, timedelta
from html import unescape
from re import findall
from urllib.parse import urlencode

import pytest
from host.page_client import Client, Reply, page_at

from swapbell_host.jobs.entry import Act, Draft
from swapbell_host.jobs.plan import Role, Site, Station, located
from swapbell_host.page.house import House
from swapbell_models.notice import NoticeKind, notice

NOW = datetime(2026, 3, 14, 12, 0, tzinfo=UTC)
DAY = timedelta(days=1)
# Invented, but for the arithmetic: 85 g at 100 mg/kg from 100 g/L are 85 uL, by plain arithmetic.
STATED = {
    "target": "0.1 g/L",
    "product": "INVENTED 100",
    "product_strength": "100 g/L",
    "authority": "permit 12, invented",
    "authority_until": "2026-09-30",
    "covers": "100 g/L",
    "directs": "0.1 g/L",
    "at_most": "0.1 g/L",
}


def planned(house: House) -> None:
    house.planbook.add_site(Site("hill", "Pacific/Auckland"))
    for name, east_deg in (("a", 147.000), ("b", 147.002), ("c", 147.001)):
        house.planbook.add_station(Station("hill", name, NOW - 30 * DAY, place=located(-42.0, east_deg)))
    house.planbook.add_station(Station("hill", "far", NOW - 30 * DAY, Role.CONTROL, located(-42.0, 147.01)))
    house.planbook.add_station(Station("hill", "lost", NOW - 30 * DAY))
    for name in ("a", "b", "far"):
        log(house, name, Act.LURED, 1.0, 80.0)
    log(house, "c", Act.LURED, 5.0, 70.0)


page = page_at(NOW, planned)


def log(house: House, name: str, act: Act, days: float, mass_g: float | None = None) -> None:
    at = NOW - days * DAY
    house.servicebook.add(Draft(site="hill", station=name, act=act, at=at, by="Kim", mass_g=mass_g), at)


def ask(page: Client, *names: str, **more: str) -> Reply:
    fields = {"station": [f"hill/{name}" for name in names], "begin": "", **more}
    return page.get(f"/round?{urlencode(fields, doseq=True)}")


def mix(page: Client, *names: str, **more: str) -> Reply:
    """Ask for toxic bait in each of some stations."""
    gives = {f"give hill/{name}": "toxic bait" for name in names}
    masses = {f"mass hill/{name}": "85" for name in names}
    return ask(page, *names, carry="yes", **(gives | masses | STATED | more))


def stops(reply: Reply) -> list[str]:
    return findall(r"<h3>hill/([^<]+)</h3>", reply.text)


def test_the_stations_that_need_a_visit_are_chosen_beforehand(page: Client) -> None:
    form = page.get("/round").text
    assert findall(r'value="hill/([^"]+)" checked', form) == ["c", "lost"]
    assert len(findall(r'type="checkbox" name="station"', form)) == 5
    assert "hill/c : refresh the lure; put in fresh lure" in page.get("/round").words


def test_what_somebody_unticks_stays_unticked(page: Client) -> None:
    assert "Choose at least one station" in ask(page).words
    assert "checked" not in ask(page).text


def test_they_are_walked_in_order_with_distance_and_bearing(page: Client) -> None:
    reply = ask(page, "a", "b", "c", begin="hill/a")
    assert stops(reply) == ["a", "c", "b"]
    assert "hill/c 83 m E (090 degrees)" in reply.words
    assert "165 m from the first stop to the last" in reply.words
    assert "165 m W (270 degrees)" in reply.words


def test_a_walk_begins_where_the_person_stands(page: Client) -> None:
    reply = ask(page, "a", "b", "c", begin="hill/a", here="-42.0, 147.003")
    assert stops(reply) == ["b", "c", "a"]
    assert "from where you stand" in reply.words


def test_a_position_that_cannot_be_read_keeps_the_choice(page: Client) -> None:
    reply = ask(page, "a", "b", here="<here>")
    assert reply.status == 422
    assert "position must read like" in reply.words
    assert findall(r'value="hill/([^"]+)" checked', reply.text) == ["a", "b"]
    assert 'value="&lt;here&gt;"' in reply.text


def test_a_station_without_a_position_stands_at_the_end_and_is_named(page: Client) -> None:
    reply = ask(page, "lost", "b", "a")
    assert stops(reply)[-1] == "lost"
    assert "Nobody has said where hill/lost hangs" in reply.words


@pytest.mark.parametrize("name", ["nowhere", "../../etc/passwd", "<b>"])
def test_a_station_that_is_not_there_is_left_out(page: Client, name: str) -> None:
    assert stops(ask(page, "a", name)) == ["a"]


def test_lure_is_summed_from_what_was_weighed_last(page: Client) -> None:
    page.in_house(lambda house: log(house, "c", Act.REFRESHED, 4.0, 75.5))
    words = ask(page, "c", "lost").words
    assert "Lure 2 stations, 75.5 g" in words
    assert "nobody said their mass: hill/lost" in words


def test_a_typed_mass_comes_before_the_log(page: Client) -> None:
    assert "Lure 1 station, 90 g" in ask(page, "c", **{"mass hill/c": "90"}).words


def test_only_what_is_legal_may_go_in(page: Client) -> None:
    form = ask(page, "far", "lost").text
    assert "toxic bait</option>" not in form
    assert "Toxic bait none" in mix(page, "far").words


def test_toxic_bait_is_not_taken_for_granted_where_visitors_were_warned_of(page: Client) -> None:
    def tell(kind: NoticeKind) -> None:
        page.in_house(lambda house: house.notebook.raise_notice(notice("hill", "a", kind, NOW, "as told"), NOW))

    tell(NoticeKind.READY)
    assert "Goes in: toxic bait" in ask(page, "a").words
    tell(NoticeKind.VISITORS)
    assert "Goes in: nothing" in ask(page, "a").words


def test_the_product_is_worked_out_under_the_authority_that_is_stated(page: Client) -> None:
    reply = mix(page, "a", "b")
    assert reply.status == 200
    assert "Product 0.17 mL of product for all of the bait" in reply.words
    assert "Toxic bait 2 stations, 170 g" in reply.words
    assert "permit 12, invented, until 2026-09-30" in reply.words
    assert "A second person checks product, strength and volume before anything is mixed." in reply.words


@pytest.mark.parametrize("name", [*STATED])
def test_there_is_no_dose_without_all_that_allows_it(page: Client, name: str) -> None:
    reply = mix(page, "a", **{name: ""})
    assert reply.status == 422
    assert f"no dose without all that allows it; nobody stated {name}" in reply.words
    assert "mL of product" not in reply.words
    kept = {unescape(value) for value in findall(r' value="([^"]*)"', reply.text)}
    assert {text for key, text in STATED.items() if key != name} <= kept


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"authority_until": "2026-03-13"}, "ended on 2026-03-13: no dose"),
        ({"target": "1 g/L"}, "is above the 0.1 g/L (100 mg/kg)"),
        ({"product_strength": "10 g/L"}, "is not the 100 g/L"),
        ({"mass hill/a": ""}, "no dose without the mass of the bait: nobody said it of hill/a"),
        ({"mass hill/a": "1,5"}, "bait of hill/a must be a number above 0, with a point for decimals"),
        ({"mass hill/a": "0"}, "bait of hill/a must be a number above 0"),
    ],
)
def test_a_dose_that_cannot_be_is_refused(page: Client, typed: dict[str, str], told: str) -> None:
    reply = mix(page, "a", **typed)
    assert reply.status == 422
    assert told in reply.words
    assert "mL of product" not in reply.words


def test_what_the_site_states_need_not_be_typed(page: Client) -> None:
    details = STATED | {"portion": "60 g"}
    page.in_house(lambda house: house.planbook.change_site(Site("hill", "Pacific/Auckland", details=details)))
    page.now += timedelta(seconds=2)
    form = ask(page, "a", **{"give hill/a": "toxic bait"}).text
    assert ('value="permit 12, invented"' in form, 'value="60 g"' in form) == (True, True)


def test_what_somebody_empties_is_not_taken_from_the_site(page: Client) -> None:
    page.in_house(lambda house: house.planbook.change_site(Site("hill", "Pacific/Auckland", details=STATED)))
    page.now += timedelta(seconds=2)
    assert "nobody stated authority:" in mix(page, "a", authority="").words


def test_the_mixing_sheet_comes_as_a_page_to_print(page: Client) -> None:
    way = findall(r'href="(/round/sheet[^"]+)"', mix(page, "a", "b").text)
    assert len(way) == 1
    sheet = page.get(unescape(way[0]))
    assert (sheet.status, sheet.headers["content-type"], sheet.content[:5]) == (200, "application/pdf", b"%PDF-")


def test_unequal_portions_get_a_sheet_each_and_one_sum(page: Client) -> None:
    reply = mix(page, "a", "b", **{"mass hill/b": "115 g"})
    assert "Product 0.2 mL of product" in reply.words
    assert "Mixing sheet to print: 1 x 85 g" in reply.words
    assert "Mixing sheet to print: 1 x 115 g" in reply.words


def test_a_sheet_without_an_authority_is_refused(page: Client) -> None:
    reply = page.get("/round/sheet?station=hill%2Fa&portion=85+g")
    assert reply.status == 404
    assert "no dose without all that allows it" in reply.words
