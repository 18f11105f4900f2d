"""One season of an orchard, played by its keeper in a real browser, from the plan to the record; all of it invented.

The host, the broker, the mail server and the webhook are real; only the clock leaps. With SWAPBELL_PICTURES set to a
folder, every page on the way is kept there as a picture, at every width and as it is printed. With `--ledger
postgresql` the job is the same, and the pages are not looked at again.
"""

import os
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from io import BytesIO
from pathlib import Path
from typing import Any
from zipfile import ZipFile

import pytest
from chromium import Findings, chromium, context, inspect
from house.farm import BEGAN_AT, SELDOM_S, SITE, Farm, running
from playwright.sync_api import Browser, Page, expect
from postgres_child import OPTION
from pypdf import PdfReader

from swapbell_device.config import parse_config as parse_device
from swapbell_host.books.accountbook import Accountbook
from swapbell_host.books.store import open_existing
from swapbell_host.jobs.account import Account, Right
from swapbell_host.passwords import hashed
from swapbell_models.notice import NoticeKind

pytestmark = [pytest.mark.part("chromium"), pytest.mark.part("mosquitto")]

PASSWORD = "four words and one"
BAITED = ("north", "east")
STATIONS = (*BAITED, "south")
PLACES = {"north": "42.8821 S 147.3272 E", "east": "42.8823 S 147.3290 E", "south": "42.8860 S 147.3300 E"}
# Invented: no product, no permit.
STATED = {
    "Target": "0.1 g/L",
    "Product": "NAME ON THE LABEL",
    "Product strength": "100 g/L",
    "Authority": "permit 12",
    "Authority until": "2026-12-31",
    "Covers": "100 g/L",
    "Directs": "0.1 g/L",
    "At most": "0.1 g/L",
}


@dataclass
class Story:
    """What was seen on the way."""

    farm: Farm
    pictures: Path | None
    looking: bool
    found: Findings = field(default_factory=Findings)
    told: dict[str, str] = field(default_factory=dict[str, str])
    shown: dict[str, str] = field(default_factory=dict[str, str])
    files: dict[str, bytes] = field(default_factory=dict[str, bytes])
    signed_in: Any = None


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as running_browser:
        yield running_browser


@pytest.fixture(scope="module")
def story(browser: Browser, tmp_path_factory: pytest.TempPathFactory, pytestconfig: pytest.Config) -> Iterator[Story]:
    pictures = os.environ.get("SWAPBELL_PICTURES")
    with running(tmp_path_factory.mktemp("orchard")) as farm:
        told = Story(farm, Path(pictures) if pictures else None, looking=pytestconfig.getoption(OPTION) is None)
        person = context(browser, farm.url, told.found)
        play(told, person.new_page())
        told.signed_in = person.storage_state()
        person.close()
        yield told


def play(story: Story, page: Page) -> None:
    let_in(story, page)
    plan(story, page)
    enrol(story, page)
    for station in STATIONS:
        log(story, page, station, "lured", **{"Lure [g]": "80"})
    grow_ready(story, page)
    walk(story, page)
    for station in BAITED:
        log(story, page, station, "swapped", **{"Toxic bait that went in [g]": "85"})
    let_it_hang(story, page)
    for station in BAITED:
        log(story, page, station, "withdrawn", **{"Toxic bait that came back [g]": "30"})
    verify(story, page)
    keep(story, page)


def let_in(story: Story, page: Page) -> None:
    """Make a login as its command does, and sign in by the keyboard alone."""
    page.goto("/")
    look(story, page, "today-empty")
    with open_existing(story.farm.ledger, writing=True) as store:
        Accountbook(store).put(Account("Kim", Right.WORK), hashed(PASSWORD), story.farm.now())
    page.goto("/plan")
    expect(page).to_have_url(re.compile("/login"))
    look(story, page, "login")
    fill(page, {"Name": "Kim", "Password": "wrong words"}, "Sign in", refused=True)
    look(story, page, "login-refused")
    page.goto("/login?next=/plan")
    tab_to(page, "name")
    page.keyboard.type("Kim")
    tab_to(page, "password")
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")
    expect(page).to_have_url(re.compile("/plan$"))


def plan(story: Story, page: Page) -> None:
    page.goto("/plan")
    look(story, page, "plan-empty")
    follow(page, "Add a person")
    look(story, page, "plan-person")
    mail = (story.farm.folder / "mail.url").read_text()
    fill(page, {"Name": "Kim", "Where to": mail}, "Write it down")
    page.goto("/plan/site")
    look(story, page, "plan-site")
    fill(page, {"Name": SITE, "Time zone": "Australia/Tasmania", "Owner or occupier": "Orchard Ltd"}, "Write it down")
    for station in STATIONS:
        page.goto(f"/plan/station?site={SITE}")
        if "plan-station" not in story.found.seen:
            look(story, page, "plan-station")
        page.get_by_label("What it is for").select_option("control" if station == "south" else "bait")
        page.get_by_label("Who is told first").select_option("Kim" if station == "north" else "")
        fill(page, {"Name": station, "Where it hangs": PLACES[station], "What lures there": "fish"}, "Write it down")
    look(story, page, "plan")
    page.goto("/nowhere")
    look(story, page, "not-here")


def enrol(story: Story, page: Page) -> None:
    page.goto("/plan/enrol/orchard/north")
    page.get_by_label("The broker, as the station reaches it").fill("192.0.2.10")
    look(story, page, "enrol")
    page.get_by_role("button", name="Enrol it").click()
    with page.expect_download() as download:
        page.get_by_role("link", name=re.compile("Download")).click()
    story.files["enrolled"] = Path(download.value.path()).read_bytes()
    look(story, page, "enrolled")


def grow_ready(story: Story, page: Page) -> None:
    """Two days of some traffic, then an hour of much: every half minute."""
    began_at = BEGAN_AT
    ready_at = story.farm.now.leap(day=3, hour=16)
    for station in STATIONS:
        for day in (0, 1, 2):
            morning = began_at + timedelta(days=day)
            evening = min(morning + timedelta(hours=10), ready_at - timedelta(hours=1))
            story.farm.counters.watch(station, morning, evening, every_s=75.0)
        often_s = 75.0 if station == "south" else 25.0
        story.farm.counters.watch(station, ready_at - timedelta(hours=1), ready_at, often_s, step_s=60.0)
    story.told["ready mail"] = story.farm.letter("ready for the swap")
    story.told["ready hook"] = story.farm.posted("ready for the swap")
    page.goto("/")
    story.shown["ready"] = page.locator("main").inner_text()
    look(story, page, "today-ready")
    page.goto("/station/orchard/north")
    look(story, page, "station-ready")


def walk(story: Story, page: Page) -> None:
    page.goto("/round")
    look(story, page, "round")
    for station in BAITED:
        page.get_by_role("checkbox", name=f"orchard/{station}:").check()
    page.get_by_role("button", name="Put them in order").click()
    story.shown["round"] = page.locator("main").inner_text()
    look(story, page, "round-walk")
    for station in BAITED:
        group = page.get_by_role("group", name=f"orchard/{station}")
        group.get_by_label("Goes in").select_option("toxic bait")
        group.get_by_label("Mass [g]").fill("85")
    page.get_by_role("button", name="Work it out").click()
    fill(page, STATED, "Work it out")
    look(story, page, "round-dose")
    sheet = page.get_by_role("link", name=re.compile("Mixing sheet")).first.get_attribute("href")
    story.files["mixing sheet"] = fetched(page, str(sheet))


def let_it_hang(story: Story, page: Page) -> None:
    letters = len(story.farm.letters)
    story.farm.leap(day=6, hour=9)
    story.told["due out"] = story.farm.letter("due out soon|is due out by", letters)
    story.farm.leap(day=6, hour=18)
    story.told["left out"] = story.farm.letter("still out|was due out by", letters)
    page.goto("/")
    story.shown["left out"] = page.locator("main").inner_text()
    look(story, page, "today-left-out")
    letters = len(story.farm.letters)
    story.farm.leap(day=7, hour=8)
    story.told["nag"] = story.farm.letter("left out.*reminder|again", letters)


def verify(story: Story, page: Page) -> None:
    story.farm.now.leap(day=7, hour=10)
    for station in BAITED:
        log(story, page, station, "disposed", **{"Bait that was disposed of [g]": "30"})
        log(story, page, station, "relured", **{"Lure [g]": "80"})
    log(story, page, "south", "refreshed", **{"Lure [g]": "80"})
    relured_at = story.farm.now()
    now = story.farm.now.leap(day=9, hour=12)
    for station in STATIONS:
        every_s = 80.0 if station == "south" else SELDOM_S
        for day in (0, 1, 2):
            morning = relured_at + timedelta(days=day, minutes=5)
            evening = min(morning + timedelta(hours=9), now)
            story.farm.counters.watch(station, morning, evening, every_s)
    story.told["collapse"] = story.farm.noticed(NoticeKind.COLLAPSED, "north")
    story.farm.leap(day=10, hour=9)
    story.told["collapse mail"] = story.farm.letter("traffic has collapsed")
    page.goto("/verify")
    story.shown["verify"] = page.locator("main").inner_text()
    look(story, page, "verify")


def keep(story: Story, page: Page) -> None:
    page.goto("/records")
    look(story, page, "records")
    story.files["record"] = fetched(page, f"/records/{SITE}/record.pdf")
    story.files["season"] = fetched(page, f"/records/{SITE}/season.pdf")
    page.goto("/records/orchard/north")
    look(story, page, "record-station")


def log(story: Story, page: Page, station: str, act: str, **typed: str) -> None:
    page.goto(f"/station/{SITE}/{station}/log")
    if "log-choice" not in story.found.seen:
        look(story, page, "log-choice")
    page.get_by_role("link", name=re.compile(rf"^{act}\b")).click()
    if act in {"lured", "swapped"} and f"log-{act}" not in story.found.seen:
        look(story, page, f"log-{act}")
    fill(page, {"Who did it": "Kim", "Weather": "dry, calm", **typed}, "Log it")
    expect(page.locator(".said")).to_contain_text(f"{act} by Kim")


def fill(page: Page, typed: dict[str, str], button: str, *, refused: bool = False) -> None:
    for label, text in typed.items():
        page.get_by_label(label, exact=True).fill(text)
    page.get_by_role("button", name=button, exact=True).click()
    expect(page.locator("[role=alert]")).to_have_count(int(refused))


def follow(page: Page, words: str) -> None:
    page.get_by_role("link", name=words, exact=True).click()


def look(story: Story, page: Page, name: str) -> None:
    story.found.seen.append(name)
    if story.looking:
        inspect(page, name, story.found, story.pictures)


def fetched(page: Page, way: str) -> bytes:
    reply = page.request.get(way)
    assert reply.ok, (way, reply.text())
    return reply.body()


def tab_to(page: Page, name: str) -> None:
    for _ in range(30):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == name:
            return
    raise AssertionError(f"the keyboard does not reach {name}")


def text_of(content: bytes) -> str:
    return " ".join("\n".join(page.extract_text() for page in PdfReader(BytesIO(content)).pages).split())


def test_a_station_is_enrolled_with_a_configuration_that_its_counter_reads(story: Story) -> None:
    with ZipFile(BytesIO(story.files["enrolled"])) as files:
        name = next(name for name in files.namelist() if name.endswith("device.toml"))
        device = parse_device(files.read(name).decode(), Path("device.toml"))
    assert (device.site, device.station, device.broker.host) == (SITE, "north", "192.0.2.10")


def test_the_call_to_swap_comes_by_mail_and_by_webhook(story: Story) -> None:
    assert "orchard/north" in story.told["ready mail"]
    assert "First look for bees" in story.told["ready mail"]
    assert "orchard/east" in story.told["ready hook"]


def test_today_says_which_stations_need_somebody_and_why(story: Story) -> None:
    assert "swap" in story.shown["ready"]
    assert {"north", "east"} <= set(re.findall(r"north|east|south", story.shown["ready"]))


def test_the_mixing_sheet_says_what_to_measure_and_who_allows_it(story: Story) -> None:
    words = text_of(story.files["mixing sheet"])
    assert "permit 12" in words
    assert "NAME ON THE LABEL" in words


def test_toxic_bait_nags_until_it_is_out(story: Story) -> None:
    assert "orchard/north" in story.told["due out"]
    assert "take it out now" in story.told["left out"].lower()
    assert "orchard/north" in story.told["nag"]
    assert "take" in story.shown["left out"].lower()


def test_a_collapse_is_told_against_the_control_and_without_promise(story: Story) -> None:
    assert "against the control stations" in story.told["collapse"].lower()
    assert "orchard/north" in story.told["collapse mail"]
    assert "Quiet is not dead" in story.shown["verify"]


def test_the_record_holds_every_application(story: Story) -> None:
    words = text_of(story.files["record"])
    assert "north" in words
    assert "east" in words
    assert "Orchard Ltd" in words


@pytest.mark.parametrize("kind", ["violations", "small", "wide", "foreign", "complaints"])
def test_no_page_on_the_way_keeps_anybody_out(story: Story, kind: str) -> None:
    assert getattr(story.found, kind) == []


WAYS = ("/", "/station/orchard/north", "/round", "/verify", "/records", "/records/orchard/north", "/plan")


def test_everything_is_read_and_logged_without_javascript(browser: Browser, story: Story) -> None:
    person = context(browser, story.farm.url, story.found, java_script_enabled=False, storage_state=story.signed_in)
    page = person.new_page()
    for way in WAYS:
        page.goto(way)
        assert page.locator("h1").inner_text()
        assert len(page.locator("main").inner_text()) > 100
    page.goto("/station/orchard/south/log?act=seen")
    fill(page, {"Who did it": "Kim", "Note": "no script here"}, "Log it")
    page.goto("/records/orchard/south")
    expect(page.locator("main")).to_contain_text("no script here")
    person.close()


def test_a_keyboard_is_enough_to_log(browser: Browser, story: Story) -> None:
    person = context(browser, story.farm.url, story.found, storage_state=story.signed_in)
    page = person.new_page()
    page.goto("/station/orchard/south/log")
    press_at(page, "seen a look", "Enter")
    page.wait_for_url(re.compile("act=seen"))
    tab_to(page, "by")
    page.keyboard.type("Kim")
    tab_to(page, "note")
    page.keyboard.type("by keyboard alone")
    press_at(page, "Log it", "Enter")
    expect(page.locator(".said")).to_contain_text("seen by Kim")
    person.close()


def test_the_first_key_leads_past_the_head(browser: Browser, story: Story) -> None:
    person = context(browser, story.farm.url, story.found, storage_state=story.signed_in)
    page = person.new_page()
    page.goto("/plan")
    press_at(page, "Skip to the content", "Enter")
    assert page.evaluate("document.activeElement.id") == "main"
    person.close()


@pytest.mark.parametrize("way", WAYS)
def test_whatever_has_the_focus_shows_it(browser: Browser, story: Story, way: str) -> None:
    person = context(browser, story.farm.url, story.found, storage_state=story.signed_in)
    page = person.new_page()
    page.goto(way)
    for _ in range(25):
        page.keyboard.press("Tab")
        outline, html = page.evaluate(FOCUS)
        assert outline >= 2.0, html
    person.close()


# WCAG 2.2, 2.4.13: a ring of at least 2 px.
FOCUS = """() => { const each = document.activeElement, style = getComputedStyle(each);
  return [each === document.body || style.outlineStyle !== 'none' ? parseFloat(style.outlineWidth) || 3 : 0,
          each.outerHTML.slice(0, 120)]; }"""


def press_at(page: Page, words: str, key: str) -> None:
    """Tab on to what reads so, and press a key there."""
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.innerText.replace(/\\s+/g, ' ').trim()").startswith(words):
            page.keyboard.press(key)
            return
    raise AssertionError(f"the keyboard does not reach {words!r}")
