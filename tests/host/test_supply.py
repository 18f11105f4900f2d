"""What a station is short of is told by its own word, with a dead-band."""

import pytest
from tallies import moment

from swapbell_host.judging import supply
from swapbell_host.judging.history import History, PastNotice
from swapbell_host.judging.look import Look
from swapbell_models.message import Health, StationState
from swapbell_models.notice import NoticeKind
from swapbell_models.phase import Phase
from swapbell_models.readiness import Reason, Rule, Step, Verdict

PAST = PastNotice(NoticeKind.SUPPLY, moment(0))


def history(state: StationState = StationState.WATCHING, phase: Phase = Phase.LURING, **said: float) -> History:
    health = Health(station="gate", state=state, **said)
    return History("valley", "gate", phase, health=health)


def words(known: History) -> str:
    told = supply.low(Look(known, Verdict(Step.UNJUDGED, Reason.GAPS), moment(0), Rule()))
    return told.text if told else ""


@pytest.mark.parametrize(
    ("name", "low", "enough", "said"),
    [
        ("battery_percent", 19.9, 20.0, "its battery is down to 20 %: charge or change it"),
        ("disk_free_bytes", 199_999_999, 200_000_000, "its disk has 200 MB left: make room"),
        ("temperature_c", 80.1, 80.0, "its processor is at 80 C: give it shade and air"),
    ],
)
def test_what_is_low_is_told_with_its_number_and_what_to_do(name: str, low: float, enough: float, said: str) -> None:
    assert said in words(history(**{name: low}))
    assert not words(history(**{name: enough}))


def test_all_that_is_low_is_told_at_once() -> None:
    assert words(history(battery_percent=5.0, disk_free_bytes=1_000_000)) == (
        "valley/gate: its battery is down to 5 %: charge or change it; its disk has 1 MB left: make room, or it will "
        "lose counts."
    )


def test_a_voltage_without_its_battery_means_nothing() -> None:
    assert not words(history(battery_v=3.1))


def test_what_is_not_told_is_not_zero() -> None:
    assert not words(history())
    assert not words(History("valley", "gate", Phase.LURING))


@pytest.mark.parametrize(
    ("name", "still", "over"),
    [("battery_percent", 29.9, 30.0), ("disk_free_bytes", 299_999_999, 300_000_000), ("temperature_c", 70.1, 70.0)],
)
def test_it_is_over_only_beyond_the_dead_band(name: str, still: float, over: float) -> None:
    assert not supply.is_enough(PAST, history(**{name: still}))
    assert supply.is_enough(PAST, history(**{name: over}))


def test_a_last_will_and_a_word_without_numbers_end_nothing() -> None:
    assert not supply.is_enough(PAST, history())
    assert not supply.is_enough(PAST, history(StationState.LOST, battery_percent=90.0))


def test_a_station_that_is_asked_for_no_count_needs_no_supply() -> None:
    closed = history(phase=Phase.CLOSED, battery_percent=1.0)
    assert not words(closed)
    assert supply.is_enough(PAST, closed)
