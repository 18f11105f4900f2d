"""Records: what can be handed over, what it lacks, where to fill that in; no cell runs, no path leads out."""

import csv
import io
import json
import zipfile
from datetime import UTC, datetime, timedelta
from html import unescape
from itertools import count
from pathlib import Path
from re import findall

import pytest
from host.page_client import Client, page_at
from orchard import visits

from swapbell_host.books.ledger import Ledger
from swapbell_host.books.store import ledger_url
from swapbell_host.intake import Arrival
from swapbell_host.jobs.entry import Act, Draft
from swapbell_host.jobs.plan import Site, Station, located
from swapbell_host.page.house import House
from swapbell_models.message import Subject, encode, topic
from swapbell_models.tally import Clock, Tally

NOW = datetime(2026, 3, 14, 12, 0, tzinfo=UTC)
DAY = timedelta(days=1)
STRANGE = """<b>"O'Neil" & 🐝</b>"""
WAY = "/records/hill/north"
_seqs = count(1)


def planned(house: House) -> None:
    house.planbook.add_site(Site("hill", "Pacific/Auckland", owner=STRANGE))
    for name in ("north", "south"):
        house.planbook.add_station(Station("hill", name, NOW - 30 * DAY, place=located(-42.0, 147.0), bait="fish"))
    for act, days, mass_g in ((Act.LURED, 9, 8.0), (Act.SWAPPED, 6, 85.0), (Act.WITHDRAWN, 3, 30.0)):
        log(house, act, days, mass_g)


page = page_at(NOW, planned)


def log(house: House, act: Act, days: float, mass_g: float | None = None, **more: object) -> None:
    at = NOW - days * DAY
    fields: dict[str, object] = {"site": "hill", "station": "north", "act": act, "at": at, "by": "Kim"}
    house.servicebook.add(Draft(**(fields | {"mass_g": mass_g} | more)), NOW)  # type: ignore[arg-type]


def counted(page: Client, at: datetime = NOW - DAY) -> None:
    seq = next(_seqs)
    told = Tally(
        station="north",
        boot="b1",
        seq=seq,
        from_at=at,
        up_s=15.0 * seq,
        clock=Clock.SYNCED,
        seconds=15.0,
        watched_s=15.0,
        crossings=visits(1.0, 2.0),
    )
    with Ledger(ledger_url(page.config.ledger), {}, NOW) as ledger:
        ledger.record([Arrival(topic("hill", "north", Subject.TALLY), encode(told))], NOW)


@pytest.mark.parametrize(
    ("ending", "kind", "begins"),
    [("pdf", "application/pdf", b"%PDF-"), ("csv", "text/csv", b""), ("json", "application/json", b"{")],
)
@pytest.mark.parametrize("what", ["record", "season"])
def test_records_and_reports_come_in_three_forms(
    page: Client, what: str, ending: str, kind: str, begins: bytes
) -> None:
    assert f"/records/hill/{what}.{ending}" in page.get("/records").text
    reply = page.get(f"/records/hill/{what}.{ending}")
    assert (reply.status, reply.content[: len(begins)]) == (200, begins)
    assert reply.headers["content-type"].startswith(kind)


def test_the_record_of_one_station_is_its_own(page: Client) -> None:
    assert json.loads(page.get("/records/hill/record.json?station=north").content)
    assert "no toxic bait was ever logged there" in page.get("/records/hill/record.pdf?station=south").words


def test_what_is_missing_leads_to_where_it_is_filled_in(page: Client) -> None:
    text = page.get("/records").text
    links = {unescape(way): words for way, words in findall(r'href="([^"]+)">(Fill in [^<]+)<', text)}
    assert links["/plan/site?name=hill"].startswith("Fill in among the details of hill")
    assert links["/station/hill/north/log?act=swapped&corrects=2"] == "Fill in by correcting entry 2, swapped"
    assert links["/station/hill/north/log?act=disposed"] == "Fill in when it is disposed"
    for way in links:
        assert page.get(way).status == 200


def test_what_the_end_of_an_application_lacks_is_corrected_there(page: Client) -> None:
    page.in_house(lambda house: log(house, Act.DISPOSED, 2))
    page.now += timedelta(seconds=2)
    assert "Fill in by correcting entry 4, disposed By the trade: how the bait was disposed of" in page.get(WAY).words


def test_nothing_is_to_be_withdrawn_or_disposed_of_that_was_lost(page: Client) -> None:
    page.in_house(lambda house: log(house, Act.LOST, 2, corrects=3))
    page.now += timedelta(seconds=2)
    words = page.get(WAY).words
    assert "out Mon 9 Mar 2026, 01:00 NZDT , lost Fri 13 Mar 2026, 01:00 NZDT" in words
    assert "Fill in when it is" not in words


def test_a_missing_field_names_the_rules_that_ask_for_it(page: Client) -> None:
    assert "authorisation or registration number (EU, RUP)" in page.get("/records").words


def test_what_was_filled_in_is_missing_no_more(page: Client) -> None:
    before = page.get(WAY).words
    details = {"batch": "7", "mg_per_kg": "100", "product_ml": "0.085"}
    page.in_house(lambda house: log(house, Act.SWAPPED, 6, 85.0, corrects=2, weather="dry", details=details))
    page.now += timedelta(seconds=2)
    after = page.get(WAY).words
    assert "strength of the bait (EU, NSW)" in before
    assert "strength of the bait (EU, NSW)" not in after


def test_a_corrected_entry_stays_beside_the_one_that_took_its_place(page: Client) -> None:
    page.in_house(lambda house: log(house, Act.LURED, 9, 80.0, corrects=1))
    page.now += timedelta(seconds=2)
    words = page.get(WAY).words
    assert "lured (corrected by entry 4)" in words
    assert "lured, instead of entry 1" in words


def rows(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode())))


def test_the_service_log_is_handed_over_whole(page: Client) -> None:
    page.in_house(lambda house: log(house, Act.LURED, 9, 80.0, corrects=1, note="=1+1"))
    page.now += timedelta(seconds=2)
    found = rows(page.get(f"{WAY}/log.csv").content)
    assert [(row["entry"], row["corrects"], row["corrected_by"]) for row in found] == [
        ("1", "", "4"),
        ("2", "", ""),
        ("3", "", ""),
        ("4", "1", ""),
    ]
    assert (found[3]["note"], found[3]["mass_g"], found[3]["at"]) == ("'=1+1", "80.0", "2026-03-05T12:00:00+00:00")


@pytest.mark.parametrize("sign", ["=", "+", "-", "@"])
def test_no_cell_of_the_log_can_become_a_formula(page: Client, sign: str) -> None:
    page.in_house(lambda house: log(house, Act.SEEN, 1, weather=f"{sign}cmd", by=f"{sign}Kim"))
    page.now += timedelta(seconds=2)
    row = rows(page.get(f"{WAY}/log.csv").content)[-1]
    assert (row["weather"], row["by"]) == (f"'{sign}cmd", f"'{sign}Kim")


@pytest.mark.parametrize(("what", "lines"), [("counts", 1), ("crossings", 2), ("tallies", 1)])
def test_what_was_counted_comes_as_open_data(page: Client, what: str, lines: int) -> None:
    counted(page)
    reply = page.get(f"{WAY}/{what}.csv")
    assert reply.headers["content-disposition"] == f"attachment; filename*=UTF-8''{what}-hill-north.csv"
    assert len(rows(reply.content)) == lines


def test_only_the_asked_time_is_handed_over(page: Client) -> None:
    counted(page)
    counted(page, NOW - 3 * DAY)
    assert len(rows(page.get(f"{WAY}/tallies.csv?from=2026-03-13T00:00&to=2026-03-15T00:00").content)) == 1


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ("from=2026-01-01T00:00", "at most 7 days at once here"),
        ("from=soon", "time must read like"),
        ("from=&to=2026-03-14T00:00", ""),
    ],
)
def test_a_time_that_cannot_be_handed_over_is_refused(page: Client, asked: str, told: str) -> None:
    counted(page)
    reply = page.get(f"{WAY}/tallies.csv?{asked}")
    assert (reply.status, told in reply.words) == ((404, True) if told else (200, True))


def test_a_camtrap_package_comes_as_one_file(page: Client) -> None:
    counted(page)
    reply = page.get(f"{WAY}/camtrap.zip")
    assert reply.status == 200, reply.words
    with zipfile.ZipFile(io.BytesIO(reply.content)) as archive:
        assert {"deployments.csv", "observations.csv", "datapackage.json"} <= {
            Path(name).name for name in archive.namelist()
        }


def test_names_are_shown_and_never_run(page: Client) -> None:
    page.in_house(lambda house: log(house, Act.SEEN, 1, note=STRANGE, details={"batch": STRANGE}))
    page.now += timedelta(seconds=2)
    for way in ("/records", WAY):
        assert STRANGE not in page.get(way).text
    assert unescape(page.get(WAY).text).count(STRANGE) == 2


@pytest.mark.parametrize(
    "way",
    [
        "/records?site=none",
        "/records/hill/none",
        "/records/none/record.pdf",
        "/records/none/season.pdf",
        "/records/hill/record.exe",
        "/records/hill/none/log.csv",
        "/records/hill/..%2f..%2fetc/log.csv",
        "/records/hill/season.pdf?from=soon",
    ],
)
def test_what_is_not_there_is_not_found(page: Client, way: str) -> None:
    assert page.get(way).status == 404
