"""The call to swap tells what else must be known: open warnings, and how the whole site stands."""

from dataclasses import replace
from datetime import timedelta

import pytest
from tallies import edges, moment, tallies

from swapbell_host import rules
from swapbell_host.board import Board, Seen
from swapbell_host.jobs.plan import Role
from swapbell_host.judging.history import History, PastNotice
from swapbell_models.notice import SWAP_CAUTION, Notice, NoticeKind
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
        "On average the 2 stations of the site have 14.0, 14.0, 13.0 in 5 min: the site is ready, swap them together."
        in told.text
    )
    assert told.text.endswith(SWAP_CAUTION)


def test_the_call_says_where_the_site_is_not_ready() -> None:
    told = call(station("gate", BUSY), station("hut", []), station("creek", []))
    assert told.kind is NoticeKind.READY
    assert "On average the 3 stations of the site have 4.7, 4.7, 4.3 in 5 min: the site is not ready." in told.text


def test_a_station_that_nobody_can_judge_is_told_and_hides_no_visits() -> None:
    told = call(station("gate", [10.0 * k for k in range(90)]), History("valley", "hut", Phase.LURING))
    assert (
        "the 2 stations of the site (1 of them unjudged) have at least 15.0, 15.0, 15.0 in 5 min: the site is ready"
        in told.text
    )


def test_a_control_station_is_no_part_of_the_mean() -> None:
    assert "site" not in call(station("gate", BUSY), station("far", [], role=Role.CONTROL)).text


def test_a_station_that_is_only_touched_is_called_with_a_site_that_is_ready() -> None:
    told = call(station("gate", BURST), station("hut", [7.0 * k for k in range(128)]))
    assert told.kind is NoticeKind.READY
    assert "ready for the swap with its whole site. On average the 2 stations" in told.text
    assert told.text.endswith(SWAP_CAUTION)


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


def test_the_board_judges_a_site_by_its_latest_looks_alone() -> None:
    board = site_of(station("gate", BUSY), station("gate", []), replace(station("hut", BUSY), phase=Phase.TOXIC))
    found = board.site("valley")
    assert found is not None
    assert (found.step, found.stations) == (Step.QUIET, 1)
    assert board.site("hill") is None
