"""What a person sees while a rehearsal runs."""

from datetime import UTC, datetime, timedelta
from io import StringIO

from rich.console import Console

from swapbell_host.rehearsal.audience import Heard
from swapbell_host.rehearsal.stage import drawing
from swapbell_models.message import Standing
from swapbell_models.phase import Phase
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Clock, Crossing, Direction, Tally

BEGAN_AT = datetime(2026, 3, 1, 10, 0, tzinfo=UTC)


def minute(number: int, visits: int, watched_s: float = 60.0) -> Tally:
    crossing = Crossing(at_s=1.0, direction=Direction.IN, size=SizeClass.WASP, length_mm=13.0)
    return Tally(
        station="drawn",
        boot="b",
        seq=number + 1,
        from_at=BEGAN_AT + timedelta(minutes=number),
        up_s=60.0 * number,
        clock=Clock.SYNCED,
        seconds=60.0,
        watched_s=watched_s,
        crossings=(crossing,) * visits,
    )


def seen(heard: Heard) -> str:
    paper = StringIO()
    Console(width=100, file=paper).print(drawing(heard, "a title", rule_visits=10))
    return paper.getvalue()


def heard(*tallies: Tally, standing: Standing | None = None) -> Heard:
    return Heard({(tally.boot, tally.seq): tally for tally in tallies}, {}, standing)


def test_before_the_first_tally_nothing_is_claimed() -> None:
    assert "waiting for the first tally" in seen(Heard())
    assert "not known yet" in seen(Heard())


def test_a_minute_that_nobody_watched_is_a_gap_and_not_a_zero() -> None:
    assert "▁·▃" in seen(heard(minute(0, 0), minute(1, 0, watched_s=0.0), minute(2, 2)))


def test_visits_stand_against_the_rule() -> None:
    standing = Standing(
        station="drawn", at=BEGAN_AT, phase=Phase.LURING, verdict="building", reason="", visits=7, watched_s=300.0
    )
    assert "7 visits, the rule asks for 10" in seen(heard(minute(0, 7), standing=standing))


def test_visits_that_are_not_known_are_not_shown_as_none() -> None:
    standing = Standing(
        station="drawn",
        at=BEGAN_AT,
        phase=Phase.LURING,
        verdict="unjudged",
        reason="gaps",
        visits=None,
        watched_s=0.0,
    )
    assert "not known yet" in seen(heard(minute(0, 0, watched_s=0.0), standing=standing))
    assert "unjudged: gaps" in seen(heard(standing=standing))
