"""A phone types where it stands, in a real browser; where it will not say, the person types."""

import socket
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
from chromium import chromium
from playwright.sync_api import Browser, Page, expect

import parts
from swapbell_host.board import Board
from swapbell_host.books.planbook import Planbook
from swapbell_host.books.store import ledger_url, open_or_make
from swapbell_host.config import parse_config
from swapbell_host.jobs.plan import Site, Station
from swapbell_host.page.serving.server import Server

pytestmark = pytest.mark.part("chromium")

NOW = datetime(2026, 3, 14, 12, 0, tzinfo=UTC)
WAYS = {"/round": "Or where you stand", "/plan/station?site=hill": "Where it hangs"}


@pytest.fixture(scope="module")
def url(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    parts.need("chromium")
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        listen = f"127.0.0.1:{found.getsockname()[1]}"
    text = f'[broker]\nhost = "192.0.2.10"\n[page]\nlisten = "{listen}"\n'
    config = parse_config(text, tmp_path_factory.mktemp("hill") / "host.toml")
    with open_or_make(ledger_url(config.ledger)) as store:
        Planbook(store).add_site(Site("hill"))
        Planbook(store).add_station(Station("hill", "north", NOW))
    with Server(config, Board(), lambda: NOW, lambda _line: None) as server:
        server.begin()
        yield f"http://{listen}"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as running:
        yield running


def asked(browser: Browser, where: str, **device: Any) -> Page:
    page = browser.new_context(**device).new_page()
    page.goto(where)
    page.get_by_role("button", name="Use where I stand").click()
    return page


@pytest.mark.parametrize("way", [*WAYS])
def test_a_phone_types_where_it_stands(browser: Browser, url: str, way: str) -> None:
    here = {"latitude": -42.8821, "longitude": 147.3272, "accuracy": 7.5}
    page = asked(browser, url + way, geolocation=here, permissions=["geolocation"])
    expect(page.get_by_label(WAYS[way])).to_have_value("-42.882100, 147.327200")
    expect(page.get_by_role("status").last).to_contain_text("Within 8 m")


def test_a_device_that_does_not_say_leaves_it_to_the_person(browser: Browser, url: str) -> None:
    page = asked(browser, url + "/round", permissions=[])
    expect(page.get_by_role("status").last).to_contain_text("Type the position.")
    expect(page.get_by_label(WAYS["/round"])).to_have_value("")
