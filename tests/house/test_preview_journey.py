"""A calibration in a real browser: seen, moved, clicked and written; with and without script.

With SWAPBELL_PICTURES set to a folder, each page on the way is kept there as a picture.
"""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from ipaddress import ip_address
from pathlib import Path
from threading import Event

import pytest
from board_views import BoardView
from chromium import Findings, chromium, context, inspect
from playwright.sync_api import Browser, Page, expect

from swapbell_device.calibrating.card import card
from swapbell_device.calibrating.command import Wish
from swapbell_device.calibrating.door import Keys
from swapbell_device.calibrating.preview import serving
from swapbell_device.calibrating.sitting import Sitting
from swapbell_device.camera import Luma
from swapbell_device.stationfile import read_station

pytestmark = pytest.mark.part("chromium")

GOOD = BoardView(card("opening"), 0.25, tilt_deg=10.0).picture()
BLURRED = BoardView(card("opening"), 0.30, blur_px=3.2).picture()
# A ruler's ends, the gate's, and a point inside.
POINTS = ((100, 60), (500, 60), (320, 60), (320, 420), (500, 240))


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as running_browser:
        yield running_browser


class Scene:
    """What the camera sees, and a person's page of it."""

    def __init__(self, page: Page, folder: Path, shown: list[Luma], over: Event) -> None:
        self.page, self.folder, self.over = page, folder, over
        self._shown = shown

    def show(self, picture: Luma) -> None:
        self._shown[0] = picture


@contextmanager
def scene(browser: Browser, folder: Path, found: Findings, *, script: bool = True) -> Iterator[Scene]:
    shown, over = [BLURRED], Event()
    sitting = Sitting(Wish(None, folder / "station.toml", folder / "drawn.png"), lambda: shown[0])
    with serving((ip_address("127.0.0.1"), 0), sitting, Keys("token", "ticket", "form"), over) as port:
        person = context(browser, f"http://127.0.0.1:{port}", found, java_script_enabled=script)
        page = person.new_page()
        page.goto("/enter/token")
        yield Scene(page, folder, shown, over)
        person.close()


def test_the_page_follows_the_card_and_writes_what_it_shows(browser: Browser, tmp_path: Path) -> None:
    found = Findings()
    with scene(browser, tmp_path, found) as seen:
        expect(seen.page.get_by_role("status")).to_contain_text("not sharp")
        seen.show(GOOD)
        expect(seen.page.get_by_role("status")).to_contain_text("its ends known to")
        seen.page.get_by_role("button", name="Write").click()
        expect(seen.page.get_by_role("heading")).to_contain_text("Written")
        assert seen.over.wait(5.0)
    assert (found.foreign, found.complaints) == ([], [])
    assert read_station(tmp_path / "station.toml").view.mm_per_px(320.0, 240.0) == pytest.approx(0.25, rel=0.05)


@pytest.mark.parametrize("script", [True, False])
def test_points_are_clicked_on_the_picture_with_and_without_script(
    browser: Browser, tmp_path: Path, script: bool
) -> None:
    found = Findings()
    with scene(browser, tmp_path, found, script=script) as seen:
        seen.page.set_viewport_size({"width": 1280, "height": 844})
        seen.page.goto("/sides")
        seen.page.get_by_label("first side").fill("70")
        seen.page.get_by_role("button", name="Begin").click()
        for number, (x, y) in enumerate(POINTS, start=1):
            picture = seen.page.get_by_role("button", name=f"{number} of 5")
            picture.click(position={"x": x, "y": y})
        seen.page.get_by_role("button", name="Write").click()
        expect(seen.page.get_by_role("heading")).to_contain_text("Written")
    assert found.complaints == []
    read = read_station(tmp_path / "station.toml")
    assert read.gate.end_px == pytest.approx(POINTS[3], abs=1.0)
    assert read.view.mm_per_px(0.0, 0.0) == pytest.approx(0.175, rel=0.01)


def test_every_page_can_be_read_pressed_and_heard(browser: Browser, tmp_path: Path) -> None:
    found, pictures = Findings(), os.environ.get("SWAPBELL_PICTURES")
    kept = Path(pictures) if pictures else None
    with scene(browser, tmp_path, found) as seen:
        seen.show(GOOD)
        seen.page.goto("/held")
        inspect(seen.page, "preview-card", found, kept)
        seen.show(BLURRED)
        seen.page.goto("/held")
        inspect(seen.page, "preview-blurred", found, kept)
        seen.page.goto("/sides")
        inspect(seen.page, "preview-sides", found, kept)
        seen.page.get_by_label("first side").fill("70")
        seen.page.get_by_role("button", name="Begin").click()
        inspect(seen.page, "preview-click", found, kept)
        seen.page.get_by_label("from the left").fill("100")
        seen.page.get_by_label("from the top").fill("60")
        seen.page.get_by_role("button", name="Set the point").click()
        expect(seen.page.get_by_role("status")).to_contain_text("2 of 5")
        inspect(seen.page, "preview-clicked", found, kept)
    assert (found.violations, found.small, found.wide, found.foreign) == ([], [], [], [])
