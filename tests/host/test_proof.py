"""A collapse and a return are told once, beyond chance, with their limits; quiet is not dead."""

from dataclasses import replace
from datetime import timedelta

import pytest
from evidence import EVENING_AT, lured, past

from swapbell_host.judging import proof
from swapbell_host.judging.evidence import Evidence
from swapbell_host.judging.history import PastNotice
from swapbell_host.verifying.finding import Finding, Side
from swapbell_models.job import Job
from swapbell_models.notice import NoticeKind, Urgency
from swapbell_models.phase import Phase
from swapbell_models.proof.efficacy import Undefined
from swapbell_models.proof.fall import NOT_DEAD, Fall, fall, fall_against_control
from swapbell_models.proof.rebound import rebound

HOUR_S = 3600.0
SWAPPED_AT = EVENING_AT - timedelta(days=10)
VERIFYING = Job(EVENING_AT - timedelta(days=6), Phase.VERIFYING, swapped_at=SWAPPED_AT)
BEFORE = Side(600, 12 * HOUR_S)
COLLAPSED = PastNotice(NoticeKind.COLLAPSED, EVENING_AT - timedelta(days=3), EVENING_AT - timedelta(days=3))


def finding(after: Side, controls: tuple[Side, Side] | None = None, now: Side | None = None) -> Finding:
    treated = BEFORE.count, after.count
    against = fall_against_control(treated, (controls[0].count, controls[1].count)) if controls else None
    back = rebound(BEFORE.count, after.count, now.count) if now else None
    told = fall(*treated)
    return Finding((("valley", "gate"),), BEFORE, after, controls, fall=told, against=against, rebound=back)


def verifying(found: Finding | None, *told: PastNotice, **known: object) -> Evidence:
    about: dict[str, object] = {"phase": Phase.VERIFYING, "job": VERIFYING}
    return lured(*told, finding=found, **(about | known))


def collapse(evidence: Evidence) -> str:
    told = proof.collapse(evidence)
    return told.text if told else ""


def returned(evidence: Evidence) -> str:
    told = proof.reinvasion(evidence)
    return told.text if told else ""


def test_a_collapse_is_told_with_its_counts_its_limits_and_that_quiet_is_not_dead() -> None:
    told = proof.collapse(verifying(finding(Side(12, 12 * HOUR_S))))
    assert told is not None
    assert told.urgency is Urgency.LOOK
    assert "600 visits in 12.0 h before the swap, 12 visits in 12.0 h since fresh lure hangs again" in told.text
    assert "a fall by 98.0% (95% limits: a fall by 96.5% to a fall by 99.0%)" in told.text
    assert NOT_DEAD in told.text
    assert "No control station was watched at the same time" in told.text


def test_a_fall_whose_limits_do_not_reach_so_far_is_none_yet() -> None:
    assert not collapse(verifying(finding(Side(110, 12 * HOUR_S))))


def test_one_quiet_look_proves_nothing() -> None:
    assert not collapse(verifying(finding(Side(0, 5.9 * HOUR_S))))
    assert collapse(verifying(finding(Side(0, 6.0 * HOUR_S))))


def test_where_the_control_stations_fell_as_well_nothing_has_collapsed() -> None:
    autumn = (Side(500, 12 * HOUR_S), Side(10, 12 * HOUR_S))
    assert not collapse(verifying(finding(Side(12, 12 * HOUR_S), autumn)))


def test_a_collapse_beside_control_stations_says_so() -> None:
    steady = (Side(500, 12 * HOUR_S), Side(490, 12 * HOUR_S))
    told = collapse(verifying(finding(Side(12, 12 * HOUR_S), steady)))
    assert (
        "600 visits in 12.0 h before the swap, 12 visits in 12.0 h since fresh lure hangs again, while the control "
        "stations had 500 visits in 12.0 h before and 490 visits in 12.0 h since. Held against the "
        "control stations, visits: a fall by 98.0%"
    ) in told
    assert "No control station" not in told


def test_a_control_station_that_is_left_out_is_named_with_why() -> None:
    steady = (Side(500, 12 * HOUR_S), Side(490, 12 * HOUR_S))
    with_one = replace(finding(Side(12, 12 * HOUR_S), steady), left_out=(("far", "was moved in that time"),))
    assert "Left out of them: far was moved in that time. Go on watching" in collapse(verifying(with_one))
    without = replace(finding(Side(12, 12 * HOUR_S)), left_out=(("far", "was moved in that time"),))
    assert "No control station can be held against it (far was moved in that time)" in collapse(verifying(without))


def test_a_control_station_that_nobody_visits_compares_with_nothing() -> None:
    empty = (Side(0, 12 * HOUR_S), Side(0, 12 * HOUR_S))
    found = finding(Side(12, 12 * HOUR_S), empty)
    assert found.against == Fall(undefined=Undefined.CONTROL_BEFORE)
    told = collapse(verifying(found))
    assert "Nobody came to the control stations before" in told
    assert "No control station was watched" not in told


def test_where_nobody_comes_to_the_control_stations_any_more_nothing_has_collapsed() -> None:
    found = finding(Side(12, 12 * HOUR_S), (Side(500, 12 * HOUR_S), Side(0, 12 * HOUR_S)))
    assert found.against == Fall(undefined=Undefined.CONTROL_AFTER)
    assert not collapse(verifying(found))


def test_where_nothing_is_found_nothing_is_said() -> None:
    assert not collapse(verifying(None))
    assert not collapse(verifying(Finding((), BEFORE, Side(0, 0.0), why="too little was watched")))


def test_a_collapse_is_told_once_after_each_swap() -> None:
    assert not collapse(verifying(finding(Side(12, 12 * HOUR_S)), COLLAPSED))
    earlier = past(NoticeKind.COLLAPSED, timedelta(days=40), acknowledged=timedelta(days=39))
    assert collapse(verifying(finding(Side(12, 12 * HOUR_S)), earlier))


@pytest.mark.parametrize("phase", [phase for phase in Phase if phase is not Phase.VERIFYING])
def test_only_a_station_that_verifies_can_collapse_or_be_reinvaded(phase: Phase) -> None:
    found = finding(Side(12, 12 * HOUR_S), now=Side(200, 12 * HOUR_S))
    assert not collapse(verifying(found, phase=phase))
    assert not returned(verifying(found, COLLAPSED, phase=phase))


def test_wasps_that_come_back_after_a_collapse_are_told_once() -> None:
    found = finding(Side(12, 12 * HOUR_S), now=Side(200, 12 * HOUR_S))
    told = returned(verifying(found, COLLAPSED))
    assert "Visits are at 33% of what they were before the swap and rising again" in told
    assert "First look for bees and other visitors" in told
    again = PastNotice(NoticeKind.REINVASION, EVENING_AT - timedelta(days=1), EVENING_AT)
    assert not returned(verifying(found, COLLAPSED, again))


def test_nothing_comes_back_that_never_went() -> None:
    assert not returned(verifying(finding(Side(12, 12 * HOUR_S), now=Side(200, 12 * HOUR_S))))


def test_a_few_more_than_at_the_quietest_are_no_return() -> None:
    assert not returned(verifying(finding(Side(12, 12 * HOUR_S), now=Side(18, 12 * HOUR_S)), COLLAPSED))
    assert not returned(verifying(finding(Side(1, 12 * HOUR_S), now=Side(30, 12 * HOUR_S)), COLLAPSED))


def test_what_never_went_far_does_not_come_back() -> None:
    assert not returned(verifying(finding(Side(150, 12 * HOUR_S), now=Side(165, 12 * HOUR_S)), COLLAPSED))


def test_who_knows_that_wasps_are_back_is_told_of_no_collapse() -> None:
    back = PastNotice(NoticeKind.REINVASION, EVENING_AT - timedelta(days=1))
    assert not collapse(verifying(finding(Side(12, 12 * HOUR_S)), back))
