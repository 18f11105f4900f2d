"""The log form: what is legal is offered, what was typed is kept, and the same form is logged once."""

from datetime import UTC, datetime, timedelta
from html import unescape
from re import findall

import pytest
from host.page_client import Client, Reply, page_at

from swapbell_host import passwords
from swapbell_host.jobs.account import Account, Right
from swapbell_host.jobs.entry import Act, Entry
from swapbell_host.jobs.moment import twice
from swapbell_host.jobs.plan import Role, Site, Station, located
from swapbell_host.page.house import House

NOW = datetime(2026, 3, 14, 12, 0, tzinfo=UTC)
DAY = timedelta(days=1)
WAY = "/station/hill/north/log"
JPEG = b"\xff\xd8\xff\xe0 a photo, invented"
PASSWORD = "invented for this test"
STRANGE = """<b>"O'Neil" & 🐝</b>"""
# Daylight saving ended in New Zealand on 5 April 2026 at 3:00 (Department of Internal Affairs; tz database).
TWICE = "2026-04-05T02:30"


def planned(house: House) -> None:
    house.planbook.add_site(Site("hill", "Pacific/Auckland"))
    house.planbook.add_station(Station("hill", "north", NOW - 30 * DAY, place=located(-42.0, 147.0)))
    house.planbook.add_station(Station("hill", "far", NOW - 30 * DAY, Role.CONTROL))


page = page_at(NOW, planned)


def entries(page: Client, station: str = "north") -> tuple[Entry, ...]:
    found: tuple[Entry, ...] = page.in_house(lambda house: house.servicebook.entries("hill", station, page.now))
    return found


def log(page: Client, act: str, **fields: str) -> Reply:
    """Log as a browser does that opened the form, with its hidden fields."""
    corrects = fields.get("corrects")
    form = page.get(f"{WAY}?act={act}" + (f"&corrects={corrects}" if corrects else "")).text
    hidden = {name: unescape(value) for name, value in findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', form)}
    typed = dict(findall(r'<input id="([^"]+)" name="[^"]+" type="[^"]+" value="([^"]*)"', form))
    shown = {name: unescape(value) for name, value in typed.items() if name != "photo"}
    return page.post(WAY, hidden | shown | {"by": "Kim"} | fields)


def offered(page: Client, way: str = WAY) -> list[str]:
    return findall(r"\?act=[^\"&]+\"><strong>([^<]+)<", page.get(way).text)


def test_what_is_legal_now_is_offered_and_nothing_else(page: Client) -> None:
    assert offered(page) == ["lured", "moved", "given up", "seen"]
    log(page, "lured")
    assert offered(page) == ["refreshed", "moved", "swapped", "closed", "given up", "weighed out", "seen"]


def test_a_control_is_never_offered_a_swap(page: Client) -> None:
    page.submit("/station/hill/far/log", {"act": "lured", "by": "Kim"}, shown_at="/station/hill/far/log?act=lured")
    assert "swapped" not in offered(page, "/station/hill/far/log")


def test_the_page_afterwards_says_what_is_next_and_by_when(page: Client) -> None:
    reply = log(page, "lured", mass="80")
    assert reply.status == 303
    said = page.get(reply.headers["location"]).words
    assert "Logged as entry 1: lured by Kim, Sun 15 Mar 2026, 01:00 NZDT , 80 g." in said.replace(" .", ".")
    assert "put in fresh lure: a dry one draws no wasps: by Wed 18 Mar 2026, 01:00 NZDT" in said


def test_all_that_was_typed_is_logged(page: Client) -> None:
    log(
        page,
        "lured",
        at="2026-03-14T17:30",
        mass="80.5 g",
        weather="dry\r\ncalm",
        non_targets="none",
        incident=STRANGE,
        note="=1+1",
        **{"detail-device_version": "1.2"},
    )
    (entry,) = entries(page)
    assert (entry.at, entry.mass_g) == (datetime(2026, 3, 14, 4, 30, tzinfo=UTC), 80.5)
    assert (entry.weather, entry.non_targets) == ("dry\ncalm", "none")
    assert (entry.incident, entry.note, entry.details) == (STRANGE, "=1+1", {"device_version": "1.2"})


def test_a_form_without_a_time_is_of_now(page: Client) -> None:
    page.now += timedelta(seconds=17)
    log(page, "lured")
    assert entries(page)[0].at == page.now


def test_whoever_signed_in_did_it(page: Client) -> None:
    page.in_house(lambda house: house.accounts.put(Account(STRANGE, Right.WORK), passwords.hashed(PASSWORD), NOW))
    page.submit("/login", {"name": STRANGE, "password": PASSWORD})
    form = page.get(f"{WAY}?act=lured").text
    assert STRANGE in unescape(form)
    assert STRANGE not in form


def test_whoever_may_only_look_is_given_no_form(page: Client) -> None:
    page.in_house(lambda house: house.accounts.put(Account("Jo", Right.VIEW), passwords.hashed(PASSWORD), NOW))
    page.submit("/login", {"name": "Jo", "password": PASSWORD})
    assert page.get(WAY).status == 403


@pytest.mark.parametrize(
    ("field", "text", "told"),
    [
        ("at", "2026-04-31T10:00", "time must read like"),
        ("at", "2027-01-01T09:00", "lies ahead of now"),
        ("mass", "8,5", "mass must be a number of g, with a point for decimals, not '8,5'"),
        ("mass", "20000", "mass must be from 0 to 10000 g"),
        ("by", " ", "by must not be empty"),
        ("weather", "a\x1b[2J", "weather must hold no control characters"),
        ("note", "x" * 4001, "note must be at most 4000 letters"),
        ("detail-device_version", "x" * 4001, "device_version must be at most 4000 letters"),
    ],
)
def test_a_wrong_field_is_told_and_all_that_was_typed_is_kept(page: Client, field: str, text: str, told: str) -> None:
    reply = log(page, "lured", **({"incident": STRANGE, "mass": "80"} | {field: text}))
    assert (reply.status, entries(page)) == (422, ())
    assert told in reply.words
    assert STRANGE in unescape(reply.text)
    assert STRANGE not in reply.text
    assert field == "mass" or 'value="80"' in reply.text
    assert text.strip()[:30] in unescape(reply.text)


@pytest.mark.parametrize(("field", "text"), [("mass", "heavy"), ("by", ""), ("note", "x" * 4001), ("at", "soon")])
def test_what_is_wrong_is_tied_to_its_field(page: Client, field: str, text: str) -> None:
    reply = log(page, "lured", **{field: text}).text
    assert f'aria-describedby="{field}-help"' in reply
    assert reply.count("aria-invalid") == 1


def test_an_act_that_is_not_legal_any_more_is_refused_with_what_is(page: Client) -> None:
    form = page.get(f"{WAY}?act=lured").text
    log(page, "lured")
    reply = page.submit(WAY, {"act": "lured", "by": "Robin", "note": "again"}, shown_at=f"{WAY}?act=lured")
    assert form
    assert reply.status == 422
    assert "legal then: refreshed, moved, swapped" in reply.words
    assert '<option value="refreshed">' in reply.text
    assert ">again</textarea>" in reply.text


def test_the_same_form_sent_twice_is_logged_once(page: Client) -> None:
    log(page, "lured")
    first = page.submit(WAY, {"act": "seen", "by": "Kim", "seen": "1", "note": "dry"}, shown_at=f"{WAY}?act=seen")
    page.now += timedelta(seconds=2)
    again = page.submit(WAY, {"act": "seen", "by": "Kim", "seen": "1", "note": "dry"}, shown_at=f"{WAY}?act=seen")
    assert [entry.act for entry in entries(page)] == [Act.LURED, Act.SEEN]
    assert first.headers["location"] == again.headers["location"] == f"{WAY}?logged=2"


def test_the_same_form_opened_again_is_logged_again(page: Client) -> None:
    log(page, "lured")
    log(page, "seen", note="dry")
    log(page, "seen", note="dry")
    assert len(entries(page)) == 3


def test_a_photo_is_kept_and_need_not_be_taken_again(page: Client) -> None:
    reply = page.submit(WAY, {"act": "lured", "by": ""}, JPEG, shown_at=f"{WAY}?act=lured")
    kept = findall(r'name="kept" value="([^"]+)"', reply.text)
    assert reply.status == 422
    page.submit(WAY, {"act": "lured", "by": "Kim", "kept": kept[0]}, shown_at=f"{WAY}?act=lured")
    assert entries(page)[0].photo == kept[0]
    assert page.get(f"/photo/{kept[0]}").content == JPEG


@pytest.mark.parametrize("kept", ["../host.toml", "0" * 64 + ".jpg", "", "/etc/passwd"])
def test_a_photo_that_is_not_in_the_store_is_none(page: Client, kept: str) -> None:
    page.submit(WAY, {"act": "lured", "by": "Kim", "kept": kept}, shown_at=f"{WAY}?act=lured")
    assert entries(page)[0].photo is None


def test_what_is_no_photo_is_told_beside_its_field(page: Client) -> None:
    reply = page.submit(WAY, {"act": "lured", "by": "Kim", "note": "kept"}, b"text", shown_at=f"{WAY}?act=lured")
    assert "neither a JPEG" in reply.words
    assert 'aria-describedby="photo-help"' in reply.text
    assert ">kept</textarea>" in reply.text


def test_a_wrong_entry_is_corrected_with_what_it_said_typed_in(page: Client) -> None:
    page.now += timedelta(seconds=17)
    log(page, "lured", mass="8", weather="dry", **{"detail-device_version": "1.2"})
    page.now += DAY
    form = page.get(f"{WAY}?act=lured&corrects=1").text
    assert ('value="8"' in form, ">dry</textarea>" in form, 'value="1.2"' in form) == (True, True, True)
    log(page, "lured", corrects="1", mass="80", weather="dry")
    first, second = entries(page)
    assert (second.corrects, second.mass_g, second.at, second.weather) == (1, 80.0, first.at, "dry")
    assert second.details == {"device_version": "1.2"}


def test_what_never_happened_is_struck_out(page: Client) -> None:
    log(page, "lured")
    assert "act=struck%20out&amp;corrects=1" in page.get(WAY).text
    log(page, "struck out", corrects="1")
    assert offered(page)[0] == "lured"
    assert "entry 1 was corrected by entry 2" in log(page, "lured", corrects="1").words


def test_an_hour_that_the_clock_shows_twice_is_asked_for(page: Client) -> None:
    page.now = datetime(2026, 4, 6, tzinfo=UTC)
    reply = log(page, "lured", at=TWICE)
    assert reply.status == 422
    chosen = findall(r'name="at-meant" value="([^"]+)"', reply.text)
    assert chosen == [f"{TWICE}:00+13:00", f"{TWICE}:00+12:00"]
    log(page, "lured", at=TWICE, **{"at-meant": chosen[1]})
    assert entries(page)[0].at == datetime(2026, 4, 4, 14, 30, tzinfo=UTC)


def test_a_time_changed_after_the_choice_is_read_anew(page: Client) -> None:
    page.now = datetime(2026, 4, 6, tzinfo=UTC)
    log(page, "lured", at="2026-04-05T12:00", **{"at-meant": f"{TWICE}:00+12:00"})
    assert entries(page)[0].at == datetime(2026, 4, 5, 0, 0, tzinfo=UTC)


@pytest.mark.parametrize("text", ["2026-04-05T12:00", "2026-09-27 02:30", "2026-04-05T02:30+13:00", "soon", ""])
def test_only_an_hour_shown_twice_means_two_moments(text: str) -> None:
    assert twice(text, Site("hill", "Pacific/Auckland").clock) == ()


def test_a_station_moves_to_a_position(page: Client) -> None:
    log(page, "moved", place="42.5 S 147.1 E")
    place = entries(page)[0].place
    assert place == located(-42.5, 147.1)
    assert 'aria-describedby="place-help"' in log(page, "moved", place="here").text


@pytest.mark.parametrize("way", ["/station/hill/none/log", f"{WAY}?act=trapped", "/station/..%2F/x/log"])
def test_what_is_not_there_is_not_found(page: Client, way: str) -> None:
    assert page.get(way).status == 404


def test_lost_bait_is_looked_for_and_logged_once_it_is_found(page: Client) -> None:
    log(page, "lured")
    log(page, "swapped")
    page.now += 4 * DAY
    log(page, "lost")
    words = page.get(WAY).words
    assert "Toxic bait was lost here: look for it" in words
    (way,) = findall(r'href="([^"]+)">It was found', page.get(WAY).text)
    assert way == f"{WAY}?act=withdrawn&amp;corrects=3"
    log(page, "withdrawn", corrects="3", mass="40")
    assert [each.act for each in entries(page)][-1] is Act.WITHDRAWN
    assert "was lost here" not in page.get(WAY).words


def test_a_swap_begins_with_its_cautions(page: Client) -> None:
    log(page, "lured")
    assert "look for bees" in page.get(f"{WAY}?act=swapped").words
    assert "look for bees" not in page.get(f"{WAY}?act=refreshed").words


def test_whatever_the_record_asks_for_is_asked_with_its_act(page: Client) -> None:
    log(page, "lured")
    form = page.get(f"{WAY}?act=swapped").text
    assert 'name="detail-batch"' in form
    assert 'name="detail-batch"' not in page.get(f"{WAY}?act=refreshed").text
