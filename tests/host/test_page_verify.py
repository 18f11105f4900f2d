"""Verify: before and after a swap as a person reads it, with limits, controls, and what quiet does not prove."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from itertools import count
from re import findall

import pytest
from host.page_client import Client, page_at
from orchard import visits

from swapbell_host.books.ledger import Ledger
from swapbell_host.books.store import ledger_url
from swapbell_host.intake import Arrival
from swapbell_host.jobs.entry import Act, Draft
from swapbell_host.jobs.plan import Role, Site, Station, located
from swapbell_host.page.house import House
from swapbell_host.page.showing.forest import EDGE, WIDTH, forest
from swapbell_models.message import Subject, encode, topic
from swapbell_models.proof.fall import Count, Fall, fall
from swapbell_models.tally import Clock, Tally

# Invented; on the equator at Greenwich, where it is light from 6 to 18 UTC all year.
SWAPPED_AT = datetime(2026, 1, 13, 20, 0, tzinfo=UTC)
NOW = datetime(2026, 1, 22, 12, 0, tzinfo=UTC)
DAY = timedelta(days=1)
STEP_S = 300.0
SERVED = [(Act.LURED, -2.0), (Act.SWAPPED, 0.0), (Act.WITHDRAWN, 3.0), (Act.RELURED, 4.0)]
UNTREATED = [(Act.LURED, -2.0), (Act.REFRESHED, 4.0)]
_seqs = count(1)


def planned(house: House) -> None:
    house.planbook.add_site(Site("hill"))
    for name, role in (("north", Role.BAIT), ("south", Role.BAIT), ("far", Role.CONTROL)):
        house.planbook.add_station(Station("hill", name, SWAPPED_AT - 9 * DAY, role, located(0.0, 0.0)))


page = page_at(NOW, planned)


def serve(page: Client, name: str, acts: Sequence[tuple[Act, float]]) -> None:
    def work(house: House) -> None:
        for act, days in acts:
            at = SWAPPED_AT + days * DAY
            house.servicebook.add(Draft(site="hill", station=name, act=act, at=at, by="Kim"), at)

    page.in_house(work)
    page.now += timedelta(seconds=2)


def counted(page: Client, name: str, day: int, visits_per_h: Sequence[int]) -> None:
    """Record hours from 8:00 on a day of January, each with so many visits, as a counter would tell them."""
    start = datetime(2026, 1, day, 8, 0, tzinfo=UTC)
    told = [
        _tally(name, start + (12 * hour + step) * timedelta(seconds=STEP_S), step < per_h % 12, per_h // 12)
        for hour, per_h in enumerate(visits_per_h)
        for step in range(12)
    ]
    with Ledger(ledger_url(page.config.ledger), {}, NOW) as ledger:
        ledger.record([Arrival(topic("hill", name, Subject.TALLY), encode(each)) for each in told], NOW)


def _tally(name: str, from_at: datetime, one_more: bool, each: int) -> Tally:
    seq = next(_seqs)
    return Tally(
        station=name,
        boot=f"boot-{name}",
        seq=seq,
        from_at=from_at,
        up_s=STEP_S * seq,
        clock=Clock.SYNCED,
        seconds=STEP_S,
        watched_s=STEP_S,
        crossings=visits(*(float(n) for n in range(each + one_more))),
    )


def test_before_a_swap_the_page_says_what_it_will_show(page: Client) -> None:
    words = page.get("/verify").words
    assert "No swap is logged yet" in words
    assert "Quiet is not dead." in words


def test_a_fall_is_told_with_its_limits_and_what_it_does_not_prove(page: Client) -> None:
    serve(page, "north", SERVED)
    counted(page, "north", 13, [24] * 5)
    counted(page, "north", 18, [1, 1, 2, 1, 1])
    words = page.get("/verify").words
    # 6 after 120 in the same time: 88.8 to 98.2 % (Clopper and Pearson 1934, over the odds).
    assert "Visits: a fall by 95.0% (95% limits: a fall by 88.8% to a fall by 98.2%)." in words
    assert "5.0% left (1.8% to 11.2%)" in words
    assert "120 visits in 5.0 h" in words
    assert "29.8 % of the nests were dead" in words


def test_without_a_control_rain_and_autumn_look_like_success(page: Client) -> None:
    serve(page, "north", SERVED)
    counted(page, "north", 13, [24] * 5)
    counted(page, "north", 18, [1] * 5)
    words = page.get("/verify").words
    idle = "far was watched too little with fresh lure at the same hours"
    assert f"No control station can be held against it ({idle}): rain, cold and autumn look like success." in words
    assert f"none: {idle}" in words


def test_a_control_takes_the_season_out_of_the_fall(page: Client) -> None:
    serve(page, "north", SERVED)
    serve(page, "far", UNTREATED)
    for name, before, after in (("north", 40, 2), ("far", 16, 4)):
        counted(page, name, 13, [before] * 5)
        counted(page, name, 18, [after] * 5)
    words = page.get("/verify").words
    # Henderson and Tilton 1955: 200 to 10 against 80 to 20 is 80 %, not the 95 % that it looks like.
    assert "Visits: a fall by 80.0%" in words
    assert "95.0% (" in words
    assert "Held against the control stations" in words


def test_a_control_that_was_moved_is_named(page: Client) -> None:
    serve(page, "north", SERVED)
    serve(page, "far", [*UNTREATED, (Act.MOVED, 4.2)])
    for name, before, after in (("north", 40, 2), ("far", 16, 4)):
        counted(page, name, 13, [before] * 5)
        counted(page, name, 18, [after] * 5)
    words = page.get("/verify").words
    assert "No control station can be held against it (far was moved in that time)" in words
    assert "none: far was moved in that time" in words


def test_each_look_stands_with_the_control_stations(page: Client) -> None:
    serve(page, "north", SERVED)
    serve(page, "far", UNTREATED)
    for name, before, after in (("north", 40, 2), ("far", 16, 4)):
        counted(page, name, 13, [before] * 5)
        counted(page, name, 18, [after] * 5)
    looks = page.get("/verify").words.partition("Look by look")[2]
    assert "80.0% (" in looks
    assert "controls: 4.0 (" in looks


def test_where_nobody_comes_to_the_control_either_no_fall_is_told(page: Client) -> None:
    serve(page, "north", SERVED)
    serve(page, "far", UNTREATED)
    for name, before, after in (("north", 40, 2), ("far", 16, 0)):
        counted(page, name, 13, [before] * 5)
        counted(page, name, 18, [after] * 5)
    words = page.get("/verify").words
    assert "The fall cannot be computed: no visits to the control stations after." in words
    assert "Nobody comes to the control stations either" in words
    assert "Held against the control stations" not in words
    assert "% left" not in words


@pytest.mark.parametrize(
    ("acts", "days", "told"),
    [
        (SERVED, [13], "only 0.0 h were watched before the swap"),
        (SERVED[:3], [13, 18], "no fresh lure was hung out since the swap"),
        (SERVED, [13, 21], "only 0.0 h were watched before the swap"),
    ],
    ids=["not watched after", "no fresh lure", "only a stale lure"],
)
def test_where_too_little_is_known_there_is_no_number_but_a_reason(
    page: Client, acts: list[tuple[Act, float]], days: list[int], told: str
) -> None:
    serve(page, "north", acts)
    for day in days:
        counted(page, "north", day, [12] * 5)
    words = page.get("/verify").words
    assert f"There is no number: {told}" in words
    assert "% left" not in words
    assert "Quiet is not dead." in words


def test_stations_swapped_together_are_shown_together_and_each(page: Client) -> None:
    for name in ("north", "south"):
        serve(page, name, SERVED)
        counted(page, name, 13, [20] * 5)
        counted(page, name, 18, [1] * 5)
    reply = page.get("/verify")
    assert findall(r'class="name">([^<]+)<', reply.text) == ["all together", "north", "south"]
    assert "200 visits in 10.0 h" in reply.words


def test_of_several_stations_the_one_with_a_number_is_told_by_its_name(page: Client) -> None:
    for name in ("north", "south"):
        serve(page, name, SERVED)
    counted(page, "north", 13, [20] * 5)
    counted(page, "north", 18, [1] * 5)
    words = page.get("/verify").words
    assert "north: Visits: a fall by 95.0%" in words
    assert "There is no number" not in words


def test_where_no_station_has_a_number_nothing_is_drawn_or_blamed_on_controls(page: Client) -> None:
    for name in ("north", "south"):
        serve(page, name, SERVED)
    reply = page.get("/verify")
    assert "There is no number of any of them yet:" in reply.words
    assert "only 0.0 h were watched before the swap" in reply.words
    assert "Nobody has looked yet." in reply.words
    assert "No control station" not in reply.words
    assert ("<svg" in reply.text, "<table" in reply.text) == (False, False)


def test_a_swap_is_named_by_the_sites_clock(page: Client) -> None:
    serve(page, "north", [*SERVED, (Act.SWAPPED, 7.5)])
    assert "hill, 2026-01-13 20:00 UTC: north" in page.get("/verify").words


def test_each_swap_can_be_chosen(page: Client) -> None:
    serve(page, "north", [*SERVED, (Act.SWAPPED, 7.5)])
    reply = page.get("/verify")
    assert findall(r'<option value="([^"]+)"( selected)?', reply.text) == [("hill/1", " selected"), ("hill/0", "")]
    assert "swapped Tue 13 Jan 2026, 20:00 UTC" in page.get("/verify?swap=hill/0").words


@pytest.mark.parametrize("asked", ["hill/9", "none/0", "hill/-1", "<b>/0", "/"])
def test_a_swap_that_is_not_there_shows_the_latest(page: Client, asked: str) -> None:
    serve(page, "north", SERVED)
    assert "swapped Tue 13 Jan 2026" in page.get(f"/verify?swap={asked}").words


def test_wasps_that_come_back_are_told(page: Client) -> None:
    serve(page, "north", [*SERVED, (Act.REFRESHED, 6.9)])
    counted(page, "north", 13, [24] * 5)
    counted(page, "north", 18, [0] * 5)
    counted(page, "north", 21, [12] * 5)
    words = page.get("/verify").words
    assert "rising again: brood that emerged, or other nests" in words
    assert "4 to 7" in words
    assert "7 to 14" in words


def test_the_plot_stands_beside_a_table_with_the_same_numbers(page: Client) -> None:
    serve(page, "north", SERVED)
    counted(page, "north", 13, [24] * 5)
    counted(page, "north", 18, [1, 1, 2, 1, 1])
    text = page.get("/verify").text
    assert 'role="img" aria-labelledby="forest-title"' in text
    assert "95.0% (88.8% to 98.2%)" in text
    assert " style=" not in text


def test_a_share_lies_where_the_scale_says() -> None:
    found = forest([("north", Fall(0.5, 0.25, 1.0)), ("south", None)])
    north, south = found.bars
    assert (north.low, north.x, north.high) == (EDGE + 83.0, EDGE + 166.0, WIDTH - EDGE)
    assert (south.x, south.words, north.beyond) == (None, "no number", False)
    assert found.ticks[-1] == (WIDTH - EDGE, "100%")
    assert found.whole == WIDTH - EDGE


def test_a_rise_widens_the_scale_up_to_three_times() -> None:
    assert forest([("north", Fall(1.2, 1.0, 2.0))]).ticks[-1][1] == "200%"
    found = forest([("north", fall(Count(1, 3600.0), Count(100, 3600.0)))])
    assert (found.ticks[-1][1], found.bars[0].beyond, found.bars[0].high) == ("300%", True, WIDTH - EDGE)
