"""When a counter started: learned late, never wrong for long, and one answer for all its tallies."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from threading import Event

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from spooled import opened

import swapbell_device.timekeeper
from swapbell_device.cameras.live import Absence
from swapbell_device.config import parse_config
from swapbell_device.linking.delivery import Patience
from swapbell_device.run import run
from swapbell_device.timekeeper import ASK_S, COMPARE_S, STEP, Timekeeper, by_the_clock
from swapbell_models.message import decode
from swapbell_models.tally import Clock, Tally

AT = datetime(2026, 2, 3, 12, 0, tzinfo=UTC)
BRISK = Patience(retry_s=0.05, retry_max_s=0.1, stop_s=0.2, end_s=0.2)
BOARD = """
site = "orchard"
station = "north"
station_file = "north.toml"
[camera]
kind = "board"
[broker]
host = "127.0.0.1"
port = 9
[spool]
path = "spool.sqlite"
"""


class Wall:
    """A wall clock that is set while the counter runs: by how much it is wrong from which moment on [s]."""

    def __init__(self, *steps: tuple[float, float], known_from_s: float = 0.0) -> None:
        self._steps, self._known_from_s, self.now_s = steps, known_from_s, 0.0

    def started_at(self) -> datetime | None:
        if self.now_s < self._known_from_s:
            return None
        return AT + timedelta(seconds=sum(by_s for from_s, by_s in self._steps if from_s <= self.now_s))


def counted(folder: Path, wall: Wall, seconds: float) -> list[Tally]:
    """Return the tallies of a counter without a camera, that begins anew when its timekeeper says so."""
    config = parse_config(BOARD, folder / "device.toml")
    with opened(folder / "spool.sqlite", []) as spool:
        while wall.now_s < seconds - 1.0:
            stop = Event()
            origin_s = wall.now_s
            timekeeper = Timekeeper(partial(since, wall, origin_s), stop.set)
            run(config, shown(wall, stop, seconds), stop, spool, BRISK, timekeeper)
        return [decode(entry.payload, Tally) for entry in spool.pending(100_000)]


def since(wall: Wall, origin_s: float) -> datetime | None:
    started_at = wall.started_at()
    return started_at and started_at + timedelta(seconds=origin_s)


def shown(wall: Wall, stop: Event, seconds: float) -> Iterator[Absence]:
    origin_s = wall.now_s
    while not stop.is_set() and wall.now_s < seconds:
        yield Absence(wall.now_s - origin_s, "it is unplugged")
        wall.now_s += 1.0
    stop.set()


def starts(tallies: list[Tally]) -> dict[str, set[datetime]]:
    found: dict[str, set[datetime]] = {}
    for tally in tallies:
        if tally.clock is Clock.SYNCED:
            found.setdefault(tally.boot, set()).add(tally.from_at - timedelta(seconds=tally.up_s))
    return found


def test_a_board_is_free_until_its_clock_is_set(tmp_path: Path) -> None:
    told = counted(tmp_path, Wall(known_from_s=40.0), 120.0)
    assert list(dict.fromkeys(tally.clock for tally in told)) == [Clock.FREE, Clock.SYNCED]
    assert [tally.seq for tally in told] == list(range(1, len(told) + 1))
    assert starts(told) == {told[0].boot: {AT}}


def test_a_clock_that_stays_as_it_is_lets_one_start_go_on(tmp_path: Path) -> None:
    assert len(starts(counted(tmp_path, Wall(), 3.0 * COMPARE_S))) == 1


@pytest.mark.parametrize("by_s", [3600.0, -3600.0, 1.5, -1.5])
def test_a_clock_that_is_set_while_it_runs_begins_another_start(tmp_path: Path, by_s: float) -> None:
    told = counted(tmp_path, Wall((100.0, by_s)), 400.0)
    first, second = starts(told).values()
    assert first == {AT}
    (restarted_at,) = second
    up_s = (restarted_at - AT).total_seconds() - by_s
    assert 100.0 <= up_s <= 100.0 + COMPARE_S


def test_a_clock_that_is_set_by_less_than_a_second_changes_nothing(tmp_path: Path) -> None:
    assert len(starts(counted(tmp_path, Wall((100.0, 0.4), (200.0, 0.4)), 400.0))) == 1


def test_small_steps_add_up_to_another_start(tmp_path: Path) -> None:
    assert len(starts(counted(tmp_path, Wall((100.0, 0.4), (200.0, 0.4), (300.0, 0.4)), 500.0))) == 2


steps = st.lists(st.tuples(st.floats(0.0, 900.0), st.floats(-1e5, 1e5)), max_size=3)


@settings(max_examples=10)
@given(steps, st.floats(0.0, 300.0))
def test_however_the_clock_is_set_no_second_is_lost_or_told_twice(
    tmp_path_factory: pytest.TempPathFactory, steps: list[tuple[float, float]], known_from_s: float
) -> None:
    wall = Wall(*steps, known_from_s=known_from_s)
    told = counted(tmp_path_factory.mktemp("spool"), wall, 900.0)
    boots = list(dict.fromkeys(tally.boot for tally in told))
    for boot in boots:
        assert [tally.seq for tally in told if tally.boot == boot] == list(
            range(1, 1 + sum(tally.boot == boot for tally in told))
        )
    passed_s = sum(tally.seconds for tally in told)
    # A second passes from the last moment of a start to the first of the next.
    assert passed_s + len(boots) == pytest.approx(900.0, abs=0.01)


@settings(max_examples=20)
@given(steps)
def test_a_tally_is_dated_within_a_second_of_the_clock_that_was_right_a_minute_ago_or_is(
    steps: list[tuple[float, float]],
) -> None:
    wall, stepped, told = Wall(*steps), Event(), list[tuple[float, datetime | None]]()
    timekeeper = Timekeeper(wall.started_at, stepped.set)
    for wall.now_s in map(float, range(900)):
        timekeeper.look(wall.now_s)
        if stepped.is_set():
            stepped.clear()
            timekeeper = Timekeeper(wall.started_at, stepped.set)
        told.append((wall.now_s, timekeeper.started_at))
    for at_s, started_at in told:
        recent = {offset(wall, at_s - age_s) for age_s in (0.0, *range(1, round(COMPARE_S) + 2))}
        assert started_at is not None
        assert any(abs(started_at - each) <= STEP for each in recent if each)


def offset(wall: Wall, at_s: float) -> datetime | None:
    wall.now_s = max(at_s, 0.0)
    return wall.started_at()


def test_a_time_of_day_that_no_server_set_is_not_known(monkeypatch: pytest.MonkeyPatch) -> None:
    # No kernel's clock can be set and unset in a test: what the kernel says is played.
    monkeypatch.setattr(swapbell_device.timekeeper, "knows_the_time", lambda: False)
    assert by_the_clock(0.0, trusted=False) is None
    assert by_the_clock(0.0, trusted=True) is not None


def reads(monkeypatch: pytest.MonkeyPatch, *clock_s: float) -> Callable[[], datetime | None]:
    answers = iter(clock_s)
    monkeypatch.setattr(swapbell_device.timekeeper, "boot_clock", lambda: next(answers))
    monkeypatch.setattr(swapbell_device.timekeeper, "now", lambda: AT)
    return lambda: by_the_clock(10.0, trusted=True)


def test_the_start_is_the_time_of_day_less_what_passed(monkeypatch: pytest.MonkeyPatch) -> None:
    assert reads(monkeypatch, 40.0, 40.0)() == AT - timedelta(seconds=30)


def test_a_reading_that_was_held_up_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    assert reads(monkeypatch, 40.0, 41.0)() is None


def test_what_nobody_knows_is_asked_for_soon_again() -> None:
    wall = Wall(known_from_s=15.0)
    timekeeper = Timekeeper(wall.started_at)
    for wall.now_s in (5.0, 15.0, 15.0 + ASK_S):
        timekeeper.look(wall.now_s)
    assert timekeeper.started_at == AT
