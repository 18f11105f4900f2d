"""What must stand beside the call to swap wherever it is read: who else was seen at the lure, by the site's clock."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from host.page_client import Client, client

from swapbell_host.jobs.entry import Act, Draft
from swapbell_host.jobs.plan import Site, Station
from swapbell_models.notice import NoticeKind, left_out_words, notice

NOW = datetime(2026, 3, 14, 1, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)
LOG = "/station/hill/north/log?act=swapped"
WAYS = ("/", "/station/hill/north", "/round", "/round?station=hill%2Fnorth&begin=")
BEES = "3 honey bees in the lure (logged 2 h ago by Kim): what visits the lure takes toxic bait, too; see its label"


@pytest.fixture
def page(tmp_path: Path) -> Iterator[Client]:
    made = client(tmp_path)
    made.now = NOW
    made.in_house(lambda house: house.planbook.add_site(Site("hill", "Pacific/Auckland")))
    made.in_house(lambda house: house.planbook.add_station(Station("hill", "north", NOW - 48 * HOUR)))
    log(made, Act.LURED, 30.0)
    tell(made, NoticeKind.READY, NOW - 3 * HOUR, "ready for the swap, as it was told")
    yield made
    made.back.close()


def log(page: Client, act: Act, hours_ago: float, non_targets: str | None = None) -> None:
    at = page.now - hours_ago * HOUR
    draft = Draft(site="hill", station="north", act=act, at=at, by="Kim", non_targets=non_targets)
    page.in_house(lambda house: house.servicebook.add(draft, page.now))


def tell(page: Client, kind: NoticeKind, at: datetime, words: str) -> None:
    page.in_house(lambda house: house.notebook.raise_notice(notice("hill", "north", kind, at, words), at))


@pytest.mark.parametrize("way", WAYS)
def test_bees_that_somebody_saw_stand_beside_the_call_to_swap(page: Client, way: str) -> None:
    assert "swap now" in page.get(way).words
    log(page, Act.SEEN, 2.0, "3 honey bees in the lure")
    words = page.get(way).words
    assert BEES in words
    assert "By its counts: ready for the swap" in words or way == "/round"
    assert ("do not swap yet" in words, "swap now" in words) == (True, False)


def test_no_toxic_bait_is_carried_to_a_lure_with_bees_unasked(page: Client) -> None:
    assert "Goes in: toxic bait" in page.get(WAYS[-1]).words
    log(page, Act.SEEN, 2.0, "3 honey bees in the lure")
    assert "Goes in: nothing" in page.get(WAYS[-1]).words


def test_whoever_takes_toxic_bait_there_all_the_same_is_warned(page: Client) -> None:
    log(page, Act.SEEN, 2.0, "3 honey bees in the lure")
    way = f"{WAYS[-1]}&give+hill%2Fnorth="
    assert "Toxic bait for hill/north, where others visit: look first" in page.get(f"{way}toxic+bait").words
    assert "where others visit" not in page.get(f"{way}nothing").words


def test_bees_cannot_wait(page: Client) -> None:
    log(page, Act.SEEN, 2.0, "3 honey bees in the lure")
    assert "1 of 1 station needs somebody, 1 of them at once." in page.get("/").words


def test_whoever_is_about_to_log_a_swap_reads_who_was_seen(page: Client) -> None:
    assert "Do not swap yet" not in page.get(LOG).words
    log(page, Act.SEEN, 2.0, "3 honey bees in the lure")
    tell(page, NoticeKind.VISITORS, NOW, "30 large ones since 2026-03-13 22:00 UTC")
    words = page.get(LOG).words
    assert f"Do not swap yet: {BEES}" in words
    assert "Do not swap yet: 30 large ones since 2026-03-14 11:00 NZDT" in words
    assert "Do not swap yet" not in page.get("/station/hill/north/log?act=refreshed").words


def test_who_was_seen_is_said_once(page: Client) -> None:
    log(page, Act.SEEN, 2.0, "3 honey bees in the lure")
    tell(page, NoticeKind.VISITORS, NOW - 2 * HOUR, "do not swap before somebody has looked: 3 honey bees")
    assert page.get(LOG).words.count("3 honey bees") == 1


@pytest.mark.parametrize("way", [*WAYS, LOG])
def test_whoever_looks_last_and_sees_none_ends_the_warning(page: Client, way: str) -> None:
    log(page, Act.SEEN, 2.0, "3 honey bees in the lure")
    log(page, Act.SEEN, 1.0, "none")
    assert "do not swap yet" not in page.get(way).words.lower()


@pytest.mark.parametrize("way", ["/", "/station/hill/north"])
def test_what_was_told_is_read_by_the_sites_clock(page: Client, way: str) -> None:
    tell(page, NoticeKind.LEFT_OUT, NOW, left_out_words(NOW - 74 * HOUR, NOW - 2 * HOUR))
    words = page.get(way).words
    assert "out since 2026-03-11 12:00 NZDT and was due out by 2026-03-14 12:00 NZDT" in words
    assert "UTC" not in words


def test_what_is_refused_is_told_by_the_sites_clock(page: Client) -> None:
    shown = "/station/hill/north/log?act=disposed"
    reply = page.submit("/station/hill/north/log", {"act": "disposed", "by": "Kim"}, shown_at=shown)
    assert "'disposed' at 2026-03-14 14:00 NZDT is not legal while luring" in reply.words
