from datetime import date

import pytest

from swapbell_device.scoring.score import Marks, Score
from swapbell_device.scoring.scorepage import GOALS, Goal, as_page

DAY = date(2026, 1, 2)
GOOD = Score(Marks(100, 100, 99), length_errors_mm=(0.5, -0.3), reached_s=((60.0, 63.0),))
SIZED = Score(Marks(12, 12, 12), visits=Marks(5, 5, 4))
EMPTY = Score(Marks(0, 2, 0), reached_s=((None, None),))


def page(board: dict[str, Score]) -> list[str]:
    return as_page(board, DAY, "a drawn machine").splitlines()


def line(board: dict[str, Score], start: str) -> str:
    (found,) = (one for one in page(board) if one.startswith(f"| {start}"))
    return found


def test_a_page_says_when_and_on_what_it_was_counted() -> None:
    assert page({"calm": GOOD})[0] == "Counted on 2 January 2026, a drawn machine."


def test_every_goal_that_can_be_judged_has_a_line() -> None:
    assert sum(one.endswith(("| yes |", "| **no** |")) for one in page({"calm": GOOD, "hand": EMPTY})) == len(GOALS)


def test_a_goal_that_is_met_says_so() -> None:
    assert line({"calm": GOOD}, "F1 of all") == "| F1 of all events (micro) | 0.990 | >= 0.970 | yes |"


def test_a_goal_that_is_missed_stands_out() -> None:
    assert line({"calm": GOOD, "hand": EMPTY}, "events").endswith("| 2 | <= 0 | **no** |")


def test_what_was_not_there_to_be_judged_has_no_line() -> None:
    assert not any(
        "where there were none" in one or "ten visits" in one for one in page({"calm": Score(Marks(1, 1, 1))})
    )


def test_the_time_of_the_rule_is_held_against_its_goal() -> None:
    assert line({"rush": GOOD}, "ten visits in five minutes: off").endswith("| 3.0 | <= 5.0 | yes |")


def test_visits_of_the_right_size_stand_beside_no_goal() -> None:
    assert line({"shadows": SIZED}, "F1 of visits").endswith(" right | 0.800 | - | - |")


def test_a_condition_tells_its_visits_beside_its_events() -> None:
    head, events = (line({"shadows": SIZED}, start).split(" | ") for start in ("condition", "shadows"))
    told = dict(zip(head, events, strict=True))
    assert (told["F1"], told["visits F1"]) == ("1.000", "0.800")


def test_clips_without_sizes_tell_nothing_of_visits() -> None:
    assert not any(one.startswith("| F1 of visits") for one in page({"calm": GOOD}))
    assert line({"calm": GOOD}, "calm").split(" | ")[6] == "-"


def test_each_condition_has_a_row_as_wide_as_the_head() -> None:
    rows = [one for one in page({"calm": GOOD, "hand": EMPTY}) if one.startswith(("| condition", "| calm", "| hand"))]
    assert len(rows) == 3
    assert len({one.count("|") for one in rows}) == 1


@pytest.mark.parametrize(("bias_mm", "met"), [(0.9, True), (-0.9, True), (1.1, False), (-1.1, False)])
def test_a_bias_may_be_off_either_way(bias_mm: float, met: bool) -> None:
    assert Goal("bias", "length_bias_mm", "+.2f", 1.0).is_met(bias_mm) is met
