"""What a rehearsal came to."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from swapbell_host.books.ledger import Ledger
from swapbell_host.books.store import ledger_url
from swapbell_host.intake import Arrival
from swapbell_host.rehearsal.audience import Heard
from swapbell_host.rehearsal.outcome import Outcome, outcome
from swapbell_host.rehearsal.picture import Record, draw
from swapbell_models.fault import Breakdown
from swapbell_models.message import NoticeMessage, encode
from swapbell_models.phase import Phase
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Clock, Crossing, Direction, Tally

BEGAN_AT = datetime(2026, 3, 1, 10, 0, tzinfo=UTC)


def crossing(direction: Direction, size: SizeClass) -> Crossing:
    return Crossing(at_s=1.0, direction=direction, size=size, length_mm=13.0)


CROSSINGS = (
    crossing(Direction.IN, SizeClass.WASP),
    crossing(Direction.OUT, SizeClass.WASP),
    crossing(Direction.IN, SizeClass.SMALL),
)


def heard() -> Heard:
    at = BEGAN_AT + timedelta(seconds=42)
    told = NoticeMessage(
        id=1, station="drawn", kind="touched", urgency="look", raised_at=at, told_at=at, times_told=1, text="words"
    )
    return Heard({}, {1: told}, None)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    tally = Tally(
        station="drawn",
        boot="b",
        seq=1,
        from_at=BEGAN_AT,
        up_s=0.0,
        clock=Clock.SYNCED,
        seconds=60.0,
        watched_s=50.0,
        crossings=CROSSINGS,
    )
    stations = {("rehearsal", "drawn"): Phase.LURING}
    with Ledger(ledger_url(str(tmp_path / "ledger.sqlite")), stations, BEGAN_AT) as ledger:
        ledger.record([Arrival("swapbell/1/rehearsal/drawn/tally", encode(tally))], tally.to_at)
    return tmp_path


def summed(folder: Path, true_visits_s: list[float] | None) -> Outcome:
    return outcome(heard(), "a title", true_visits_s, 10, folder)


def test_only_wasps_that_come_in_are_visits(folder: Path) -> None:
    assert summed(folder, [1.0]).counted_visits == 1


def test_the_summary_says_when_the_rule_was_touched_and_that_it_was_not_confirmed(folder: Path) -> None:
    words = summed(folder, [1.0]).words()
    assert "rule touched     after 0 min 42 s" in words
    assert "confirmed ready  no" in words


def test_watched_seconds_stand_beside_the_seconds_that_passed(folder: Path) -> None:
    assert "50 s watched of 60 s" in summed(folder, [1.0]).words()


def test_the_truth_of_footage_is_not_known_rather_than_none(folder: Path) -> None:
    assert "true visits      not known" in summed(folder, None).words()


def test_the_picture_is_a_png(folder: Path) -> None:
    assert summed(folder, [1.0]).picture.read_bytes().startswith(b"\x89PNG")


def test_an_empty_ledger_is_a_breakdown_and_not_an_empty_summary(tmp_path: Path) -> None:
    with Ledger(ledger_url(str(tmp_path / "ledger.sqlite")), {}, BEGAN_AT):
        pass
    with pytest.raises(Breakdown, match="no tally reached the ledger"):
        outcome(heard(), "a title", None, 10, tmp_path)


def test_a_run_without_visits_draws_its_picture_without_a_warning(
    tmp_path: Path, recwarn: pytest.WarningsRecorder
) -> None:
    draw(Record("a title", 6.0, [], [], [(1.0, 2.0)], []), 10, tmp_path / "p.png")
    assert [str(warning.message) for warning in recwarn] == []
