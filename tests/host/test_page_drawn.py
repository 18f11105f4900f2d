"""Today and Station in a real browser: the plot by the site's clock, live news, touch, no script at all."""

import re
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from chromium import Findings, chromium, context, inspect
from host.village import SITE, Village, settle
from playwright.sync_api import Browser, Page, expect

import parts
from swapbell_host.config import parse_config
from swapbell_host.page.serving.server import Server
from swapbell_models.readiness import Step

pytestmark = pytest.mark.part("chromium")

# Two in the afternoon, half a day after the clock was set back (IANA time zone database, rule NZ).
NOW = datetime(2026, 4, 5, 2, 0, tzinfo=UTC)
STATION = f"/station/{SITE}/ready"


@dataclass(frozen=True, slots=True)
class Host:
    """A served village."""

    url: str
    village: Village


def free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port: int = found.getsockname()[1]
        return port


@pytest.fixture(scope="module")
def host(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Host]:
    parts.need("chromium")
    folder, listen = tmp_path_factory.mktemp("village"), f"127.0.0.1:{free_port()}"
    text = f'[broker]\nhost = "192.0.2.10"\n[page]\nlisten = "{listen}"\n'
    village = settle(parse_config(text, folder / "host.toml"), NOW, days=1.0, seconds=120.0)
    with Server(village.config, village.board, lambda: NOW, lambda _line: None) as server:
        server.begin()
        yield Host(f"http://{listen}", village)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as running:
        yield running


@contextmanager
def shown(browser: Browser, url: str, **how: Any) -> Iterator[Page]:
    """Open a page; whatever its console complains of fails the test."""
    own = browser.new_context(viewport={"width": 1280, "height": 900}, **how)
    page, complaints = own.new_page(), list[str]()
    page.on("console", lambda message: complaints.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(url, wait_until="load")
    try:
        yield page
    finally:
        own.close()
    assert complaints == []


def pointed(page: Page, share: float) -> str:
    """Return what the plot says of the moment at a share of its width."""
    page.locator(".plot canvas").scroll_into_view_if_needed()
    box = page.locator(".u-over").bounding_box()
    assert box
    page.mouse.move(box["x"] + share * box["width"], box["y"] + 40)
    return " ".join(page.locator(".u-legend").inner_text().split())


def test_the_script_draws_in_the_place_of_the_picture(browser: Browser, host: Host) -> None:
    with shown(browser, host.url + STATION) as page:
        expect(page.locator(".plot canvas")).to_be_visible()
        expect(page.locator(".sheet")).to_be_hidden()
        assert "Visits in 5 min" in pointed(page, 0.9)


def test_the_pointer_tells_of_the_step_that_it_is_in_to_its_very_end(browser: Browser, host: Host) -> None:
    with shown(browser, f"{host.url}{STATION}?on=2026-04-05") as page:
        expect(page.locator(".plot canvas")).to_be_visible()
        minutes = 25 * 60
        last = pointed(page, (15 * 60 - 1.5) / minutes)  # two in the afternoon, an hour late
        assert "13:55 NZST" in last
        assert "not known" not in last
        assert "not known" in pointed(page, (15 * 60 + 10) / minutes)


def test_the_plot_is_told_by_the_sites_clock_and_not_by_the_browsers(browser: Browser, host: Host) -> None:
    with shown(browser, f"{host.url}{STATION}?on=2026-04-05", timezone_id="America/Santiago") as page:
        expect(page.locator(".plot canvas")).to_be_visible()
        # A day of 25 hours: the one from 02:00 comes twice, and noon is an hour late.
        assert "Sun 5 Apr 00:0" in pointed(page, 0.001)
        assert "Sun 5 Apr 02:30 NZDT" in pointed(page, 2.54 / 25)
        assert "Sun 5 Apr 02:30 NZST" in pointed(page, 3.54 / 25)
        assert "Sun 5 Apr 12:00 NZST" in pointed(page, 13.04 / 25)


def test_one_looks_closer_by_dragging_and_back_by_two_clicks(browser: Browser, host: Host) -> None:
    with shown(browser, host.url + STATION) as page:
        expect(page.locator(".plot canvas")).to_be_visible()
        before = pointed(page, 0.02)
        box = page.locator(".u-over").bounding_box()
        assert box
        y = box["y"] + 50
        page.mouse.move(box["x"] + 0.5 * box["width"], y)
        page.mouse.down()
        page.mouse.move(box["x"] + 0.9 * box["width"], y, steps=5)
        page.mouse.up()
        assert pointed(page, 0.02) != before
        page.mouse.dblclick(box["x"] + 0.5 * box["width"], y)
        assert pointed(page, 0.02) == before


@pytest.mark.parametrize("where", ["/", STATION, f"/station/{SITE}/verify?span=season"])
def test_everything_can_be_read_without_a_script(browser: Browser, host: Host, where: str) -> None:
    with shown(browser, host.url + where, java_script_enabled=False) as page:
        assert page.locator("h1").inner_text()
        if where != "/":
            expect(page.locator(".sheet svg")).to_be_visible()
            expect(page.locator(".canvas")).to_be_hidden()


@pytest.mark.parametrize("where", ["/", STATION, f"/station/{SITE}/bees", f"/station/{SITE}/verify?span=season"])
def test_every_state_holds_at_every_width_for_a_thumb_and_for_axe(browser: Browser, host: Host, where: str) -> None:
    found = Findings()
    page = context(browser, host.url, found, bypass_csp=True).new_page()
    page.goto(where, wait_until="load")
    if where != "/":
        expect(page.locator(".plot canvas")).to_be_visible()
    for each in page.locator("main details").all():
        each.evaluate("each => each.open = true")
    inspect(page, where, found, None)
    page.context.close()
    assert found == Findings()


def test_what_changes_at_the_host_changes_on_the_page_by_itself(browser: Browser, host: Host) -> None:
    with shown(browser, host.url) as page:
        expect(page.locator("#connection")).to_contain_text("Follows the host")
        page.locator("#told-hollow-bees summary").click()
        seen = host.village.board.of(SITE, "control")
        assert seen
        host.village.board.put(replace(seen, verdict=replace(seen.verdict, step=Step.BUILDING)))
        expect(page.locator(".lines")).to_contain_text("building: half the rule or more", timeout=30_000)
        assert page.locator("#told-hollow-bees").get_attribute("open") is not None
        host.village.board.put(seen)


def test_ages_grow_by_the_hosts_clock_whatever_the_browsers_says(browser: Browser, host: Host) -> None:
    page = browser.new_context().new_page()
    page.clock.install(time=datetime(2031, 1, 1, tzinfo=UTC))
    page.goto(host.url)
    count = page.locator("li", has=page.locator("#to-hollow-ready")).locator("dd").last
    expect(count).to_contain_text("0 s ago")
    page.clock.fast_forward(130_000)
    expect(count).to_contain_text("2 min ago")
    page.context.close()


def test_a_page_that_nobody_looks_at_keeps_no_line(browser: Browser, host: Host) -> None:
    with shown(browser, host.url) as page:
        expect(page.locator("#connection")).to_contain_text("Follows the host")
        page.evaluate(
            "Object.defineProperty(document, 'hidden', {value: true});"
            "document.dispatchEvent(new Event('visibilitychange'))"
        )
        page.wait_for_timeout(200)
        open_lines = page.evaluate(
            "performance.getEntriesByType('resource').filter(e => e.name.endsWith('/live')).length"
        )
        assert open_lines == 1  # a resource is listed once it has ended


def test_a_host_that_is_gone_is_told(browser: Browser, tmp_path: Path) -> None:
    listen = f"127.0.0.1:{free_port()}"
    text = f'[broker]\nhost = "192.0.2.10"\n[page]\nlisten = "{listen}"\n'
    village = settle(parse_config(text, tmp_path / "host.toml"), NOW, days=0.01)
    page = browser.new_context().new_page()
    with Server(village.config, village.board, lambda: NOW, lambda _line: None) as server:
        server.begin()
        page.goto(f"http://{listen}/")
        expect(page.locator("#connection")).to_contain_text("Follows the host")
    expect(page.locator("#connection")).to_contain_text("No line to the host", timeout=15_000)
    page.context.close()


def test_the_keyboard_reaches_the_plot_the_table_and_every_button(browser: Browser, host: Host) -> None:
    with shown(browser, f"{host.url}/station/{SITE}/bees", java_script_enabled=False) as page:
        reached = list[str]()
        for _ in range(60):
            page.keyboard.press("Tab")
            reached.append(page.evaluate("document.activeElement.id || document.activeElement.className"))
        assert {"log-it", "span-day", "span-week", "span-season", "sheet"} <= set(reached)
        assert any(re.fullmatch(r"seen-\d+", each) for each in reached)
        assert any(re.fullmatch(r"hours-\d+", each) for each in reached)
