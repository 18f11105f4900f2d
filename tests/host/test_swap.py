"""The call to swap tells what else must be known: open warnings, and how the whole site stands."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from tallies import edges, moment, tallies

from swapbell_host import rules
from swapbell_host.board import Board, Seen
from swapbell_host.jobs.entry import Act, Entry
from swapbell_host.jobs.plan import Role
from swapbell_host.judging.history import History, PastNotice
from swapbell_models.job import Job
from swapbell_models.notice import SWAP_CAUTION, Notice, NoticeKind, Urgency
from swapbell_models.phase import Phase
from swapbell_models.readiness import Rule, Step

RULE, NOW = Rule(), moment(900)
BUSY = [22.0 * k for k in range(41)]
BURST = [100 + 20.0 * k for k in range(12)]
# Full windows that are not those of `BURST`.
LATER = [330.0 + 24.0 * k for k in range(24)]


def station(name: str, visits_s: list[float], *told: PastNotice, role: Role = Role.BAIT) -> History:
    return History("valley", name, Phase.LURING, tallies(visits_s, edges(900)), notices=told, role=role)


def site_of(*stations: History) -> Board:
    board = Board()
    for each in stations:
        board.put(Seen(each, rules.verdict(each, NOW, RULE), NOW, RULE))
    return board


def call(first: History, *others: History) -> Notice:
    site = site_of(first, *others).site("valley")
    (told,) = rules.news(rules.verdict(first, NOW, RULE), first, NOW, RULE, moment(-9e5), site)
    return told


def test_a_station_of_its_own_is_told_of_no_site() -> None:
    assert "site" not in call(station("gate", BUSY)).text


def test_the_call_says_that_the_site_is_ready_and_to_swap_together() -> None:
    told = call(station("gate", BUSY), station("hut", BUSY))
    assert (
        "The site as a whole is ready: a mean of 14.0, 14.0, 13.0 visits in each 5 min, oldest first (rule: 10) over "
        "its 2 stations. "
        "Swap its stations together, but none that others visit."
    ) in told.text
    assert told.text.endswith(SWAP_CAUTION)


def test_a_station_that_is_ready_before_its_site_is_called_and_told_how_the_site_stands() -> None:
    told = call(station("gate", BUSY), station("hut", []), station("creek", []))
    assert (told.kind, told.urgency) == (NoticeKind.READY, Urgency.ACT)
    assert told.text.startswith("valley/gate: ready for the swap: visits per 5 min")
    assert "The site as a whole is quiet: a mean of " in told.text
    assert "a mean of 4.7, 4.7, 4.3 visits in each 5 min, oldest first (rule: 10) over its 3 stations" in told.text
    assert "Its stations share nests: better swap them together, once it is ready." in told.text


def test_a_dead_board_neither_calls_for_a_swap_nor_holds_it_back() -> None:
    told = call(station("gate", BUSY), History("valley", "hut", Phase.LURING))
    assert told.kind is NoticeKind.READY
    assert "first (rule: 10) over the 1 of its 2 stations that can be judged. Swap its stations" in told.text


def test_a_control_station_is_no_part_of_the_mean() -> None:
    assert "site" not in call(station("gate", BUSY), station("far", [], role=Role.CONTROL)).text


@pytest.mark.parametrize(
    ("own", "counts"), [(BURST, "10, 2, 0"), ([], "0, 0, 0"), ([200.0, 210.0, 400.0], "2, 1, 0")]
)
def test_every_station_is_called_with_a_site_that_is_ready(own: list[float], counts: str) -> None:
    told = call(station("gate", own), station("hut", [7.0 * k for k in range(128)]))
    assert told.kind is NoticeKind.READY
    assert "ready for the swap with its whole site. The site as a whole is ready: a mean of " in told.text
    assert f"At this station: visits per 5 min, oldest to newest: {counts}." in told.text
    assert told.text.endswith(SWAP_CAUTION)


def test_a_silent_station_is_called_with_a_site_that_is_ready() -> None:
    silent = History("valley", "gate", Phase.LURING)
    board = site_of(silent, station("hut", BUSY))
    told, _ = rules.news(rules.verdict(silent, NOW, RULE), silent, NOW, RULE, moment(-9e5), board.site("valley"))
    assert (told.kind, told.raised_at) == (NoticeKind.READY, NOW)
    assert "At this station: visits per 5 min, oldest to newest: none watched." in told.text


def test_fresh_lure_answers_the_call_of_the_site_for_as_long_as_a_look_lasts() -> None:
    fresh = replace(station("gate", []), job=Job(NOW, Phase.LURING, fresh_at=NOW - timedelta(minutes=2)))
    board = site_of(fresh, station("hut", [7.0 * k for k in range(128)]))
    assert rules.news(rules.verdict(fresh, NOW, RULE), fresh, NOW, RULE, moment(-9e5), board.site("valley")) == []


def test_a_touch_beside_a_quiet_station_is_a_touch() -> None:
    assert call(station("gate", BURST), station("hut", [])).kind is NoticeKind.TOUCHED


WARNING = PastNotice(NoticeKind.VISITORS, moment(0), id=12)


def test_an_open_warning_of_visitors_comes_before_the_call() -> None:
    told = call(station("gate", BUSY, WARNING))
    assert told.text.startswith(
        "valley/gate: do not swap before somebody has looked: notice 12 warns of visitors that may be no wasps. By "
        "its counts it is ready for the swap: "
    )


@pytest.mark.parametrize("closed", ["acknowledged_at", "ended_at"])
def test_a_warning_that_was_seen_to_is_not(closed: str) -> None:
    seen_to = replace(WARNING, **{closed: NOW - timedelta(hours=1)})
    assert "notice 12" not in call(station("gate", BUSY, seen_to)).text


BEES = Entry(
    site="valley", station="gate", act=Act.SEEN, at=moment(600), by="Kim", id=4, logged_at=moment(700),
    non_targets="3 honey bees in the lure",
)  # fmt: skip


def test_bees_that_somebody_logged_come_before_the_call() -> None:
    told = call(replace(station("gate", BUSY), sighting=BEES))
    assert told.text.startswith(
        "valley/gate: do not swap before somebody has looked: 3 honey bees in the lure (logged 2026-02-03 01:10 UTC "
        "by Kim): what visits the lure takes toxic bait, too; see its label. By its counts it is ready for the swap: "
    )


def test_bees_logged_after_the_call_are_warned_of() -> None:
    called = replace(station("gate", BUSY, PastNotice(NoticeKind.READY, moment(650))), sighting=BEES)
    told = call(called)
    assert (told.kind, told.raised_at) == (NoticeKind.VISITORS, BEES.at)
    assert "do not swap before somebody has looked: 3 honey bees in the lure (logged " in told.text


@pytest.mark.parametrize(("seen_to_s", "told"), [(690, [NoticeKind.VISITORS]), (710, [])])
def test_who_saw_to_a_warning_before_bees_were_logged_has_not_seen_to_them(
    seen_to_s: float, told: list[NoticeKind]
) -> None:
    warning = replace(WARNING, acknowledged_at=moment(seen_to_s))
    bees = replace(station("gate", BUSY, PastNotice(NoticeKind.READY, moment(650)), warning), sighting=BEES)
    found = rules.news(rules.verdict(bees, NOW, RULE), bees, NOW, RULE, moment(-9e5))
    assert [each.kind for each in found] == told


@pytest.mark.parametrize(
    "other", [{"role": Role.CONTROL}, {"notices": (PastNotice(NoticeKind.READY, moment(710)),)}, {"notices": ()}]
)
def test_bees_are_not_warned_of_where_nobody_was_called_before(other: dict[str, Any]) -> None:
    quiet = replace(station("gate", []), sighting=BEES, **other)
    assert rules.news(rules.verdict(quiet, NOW, RULE), quiet, NOW, RULE, moment(-9e5)) == []


def test_the_board_judges_a_site_by_its_latest_looks_alone() -> None:
    toxic = replace(station("creek", BUSY), phase=Phase.TOXIC)
    board = site_of(station("gate", BUSY), station("gate", []), station("hut", []), toxic)
    found = board.site("valley")
    assert found is not None
    assert (found.step, found.stations) == (Step.QUIET, 2)


def test_a_single_station_is_no_site() -> None:
    board = site_of(station("gate", BUSY), station("far", BUSY, role=Role.CONTROL))
    assert (board.site("valley"), board.site("hill")) == (None, None)


def test_the_board_tells_where_others_were_seen() -> None:
    board = site_of(replace(station("gate", BUSY), sighting=BEES), station("hut", BUSY))
    assert [board.visited("valley", name) for name in ("gate", "hut", "creek")] == [True, False, False]
