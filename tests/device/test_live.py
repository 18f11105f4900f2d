"""A live camera: what it loses is said at once, and it is opened again."""

from collections.abc import Generator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import islice, pairwise
from pathlib import Path
from threading import Event

import msgspec
import numpy as np
import pytest
from spooled import opened

from swapbell_device.book import Book
from swapbell_device.camera import Frame, Luma
from swapbell_device.cameras.exposure import BEYOND_S, SETTLE_S, Exposure, Order
from swapbell_device.cameras.live import AGAIN_AFTER_S, Absence, Live, Lost, Shot, again_after_s
from swapbell_device.cameras.usb import UsbCamera
from swapbell_device.eye import now, watched
from swapbell_device.health import Pulse
from swapbell_device.linking.delivery import Patience
from swapbell_device.moment import Moment
from swapbell_device.stationfile import parse_station
from swapbell_models.message import StationState
from swapbell_models.tally import Clock, Hindrance

AT = datetime(2026, 2, 3, 12, 0, tzinfo=UTC)
SIZE = (32, 16)
EXPOSURE_S = 0.004
BRISK = Patience(retry_s=0.05, retry_max_s=0.1, stop_s=0.2, end_s=0.2)
STATION = parse_station(
    "[view]\nmm_per_px = 0.2\n[gate]\nline_px = [[1, 8], [30, 8]]\ninside_px = [16, 1]", "station.toml"
)


class Clockwork:
    """A board's clock that goes on by a step whenever it is read."""

    def __init__(self, step_s: float = 0.01) -> None:
        self.now_s, self._step_s = 100.0, step_s

    def __call__(self) -> float:
        self.now_s += self._step_s
        return self.now_s


class Hasty(Event):
    """Waits no longer than it takes to ask."""

    def wait(self, timeout: float | None = None) -> bool:
        return super().wait(0.0 if timeout else timeout)


class Scripted:
    """A source that shows what it is told and then is lost; each time it is opened, the next of its shows."""

    def __init__(self, clock: Clockwork, *shows: list[Luma]) -> None:
        self._clock, self._shows, self.size, self.openings = clock, list(shows), SIZE, 0

    def pictures(self) -> Generator[Shot]:
        self.openings += 1
        show = self._shows.pop(0) if self._shows else []
        for picture in show:
            yield Shot(picture, self._clock(), EXPOSURE_S)
        raise Lost("it is unplugged")


def noisy(count: int, seed: int = 1, size: tuple[int, int] = SIZE) -> list[Luma]:
    chance = np.random.default_rng(seed)
    return [chance.integers(0, 255, size[::-1]).astype(np.uint8) for _ in range(count)]


def live(*shows: list[Luma], step_s: float = 0.01) -> Live:
    clock = Clockwork(step_s)
    return Live(Scripted(clock, *shows), Event(), clock)


def test_frames_count_from_one_moment_however_often_the_camera_is_opened() -> None:
    camera = live(noisy(3), noisy(3, seed=2))
    times: list[float] = []
    for _ in range(2):
        with pytest.raises(Lost, match="unplugged"):
            times.extend(frame.at_s for frame in camera.frames())
    assert len(times) == 6
    assert all(earlier < later for earlier, later in pairwise(times))


def test_a_frame_says_how_long_it_was_exposed_where_the_camera_does() -> None:
    assert next(iter(live(noisy(3)).frames())).exposure_s == EXPOSURE_S


def test_a_camera_that_sends_the_same_picture_for_seconds_hangs() -> None:
    same = noisy(1) * 100
    with pytest.raises(Lost, match="hangs: it has sent the same picture for 4 s"):
        list(live(same, step_s=0.5).frames())


def test_a_picture_that_was_there_before_is_no_sign_that_the_camera_lives() -> None:
    one, other = noisy(2)
    shown: list[bool] = []
    with pytest.raises(Lost, match="unplugged"):
        shown.extend(frame.lives for frame in live([one, one, other, other, other, one]).frames())
    assert shown == [True, False, True, False, False, True]


def test_a_camera_that_hangs_has_watched_up_to_its_last_other_picture() -> None:
    camera, book = live(noisy(41) + noisy(1, seed=2) * 100, step_s=0.1), Book("north", "b1", AT, Clock.SYNCED, 15.0)
    frames: list[Frame] = []
    with pytest.raises(Lost, match="hangs"):
        frames.extend(camera.frames())
    told = [tally for frame in frames for tally in book.add((), frame.at_s, lives=frame.lives)]
    told += [*book.miss(60.0), *book.close()]
    assert sum(tally.watched_s for tally in told) == pytest.approx(4.1)


@pytest.mark.parametrize("level", [0, 255])
def test_a_view_all_black_or_white_is_the_lights_affair_and_no_camera_that_hangs(level: int) -> None:
    with pytest.raises(Lost, match="unplugged"):
        list(live([grey(level)] * 100, step_s=0.5).frames())


def test_a_camera_that_shows_little_but_noise_does_not_hang() -> None:
    with pytest.raises(Lost, match="unplugged"):
        list(live(noisy(100), step_s=0.5).frames())


@pytest.mark.parametrize(
    ("picture", "said"),
    [
        (np.zeros((8, 16), np.uint8), "16 x 8 instead of 32 x 16"),
        (np.zeros((16, 32, 2), np.uint8), "2 x 32 x 16 instead of 32 x 16"),
    ],
)
def test_pictures_of_another_size_or_format_are_refused(picture: Luma, said: str) -> None:
    with pytest.raises(Lost, match=said):
        list(live([picture]).frames())


def test_a_lost_camera_is_told_at_once_and_opened_again(capsys: pytest.CaptureFixture[str]) -> None:
    clock, stop = Clockwork(), Hasty()
    source = Scripted(clock, noisy(4), noisy(4, seed=2))

    def watch(camera: Live, _station: object) -> Generator[Moment]:
        for frame in camera.frames():
            yield Moment(frame, [], [], [])

    shown = list(islice(watched(Live(source, stop, clock), STATION, watch, stop), 40))
    assert source.openings >= 2
    assert [isinstance(each, Absence) for each in shown[:5]] == [False, False, False, False, True]
    assert any(isinstance(each, Moment) for each in shown[5:])
    assert "camera: it is unplugged; it is opened again in 1 s" in capsys.readouterr().err


def test_a_station_sleeps_when_it_should_and_then_opens_its_camera(capsys: pytest.CaptureFixture[str]) -> None:
    clock, stop = Clockwork(), Hasty()
    source = Scripted(clock, noisy(4))
    nights = iter([now() + timedelta(seconds=0.2)])

    def watch(camera: Live, _station: object) -> Generator[Moment]:
        for frame in camera.frames():
            yield Moment(frame, [], [], [])

    camera = Live(source, stop, clock)
    shown = list(islice(watched(camera, STATION, watch, stop, lambda: next(nights, None)), 12))
    assert isinstance(shown[0], Absence)
    assert shown[0].asleep
    assert any(isinstance(each, Moment) for each in shown)
    assert "camera: asleep until" in capsys.readouterr().err


def test_a_camera_is_closed_when_it_is_time_to_sleep() -> None:
    clock, stop = Clockwork(), Hasty()
    source = Scripted(clock, noisy(400))
    night_at = now() + timedelta(seconds=0.2)
    asked = iter([None, None, night_at, night_at])
    closed: list[bool] = []

    def watch(camera: Live, _station: object) -> Generator[Moment]:
        try:
            for frame in camera.frames():
                yield Moment(replace(frame, at_s=frame.at_s * 3000.0), [], [], [])
        finally:
            closed.append(True)

    shown = watched(Live(source, stop, clock), STATION, watch, stop, lambda: next(asked, None))
    first = next(each for each in shown if isinstance(each, Absence))
    assert closed == [True]
    assert first.asleep


def test_time_asleep_is_not_watched_and_nobody_is_blamed() -> None:
    book = Book("north", "b1", AT, Clock.SYNCED, 15.0)
    tallies = [tally for second in range(40) for tally in book.miss(float(second), asleep=True)]
    assert [(tally.watched_s, tally.sight) for tally in tallies] == [(0.0, msgspec.UNSET)] * 2


def test_a_sleeping_station_says_so(tmp_path: Path) -> None:
    with opened(tmp_path / "spool.sqlite", []) as spool:
        pulse = Pulse("north", AT, spool)
        pulse.miss(2.0, "asleep until 05:40 UTC", asleep=True)
        assert pulse.health().state is StationState.ASLEEP


def test_waiting_grows_until_it_stays() -> None:
    assert tuple(islice(again_after_s(), 6)) == (*AGAIN_AFTER_S, AGAIN_AFTER_S[-1])


def test_time_without_a_picture_is_not_watched_and_the_camera_is_blamed() -> None:
    book = Book("north", "b1", AT, Clock.SYNCED, 15.0)
    tallies = [tally for second in range(40) for tally in book.miss(float(second))]
    assert [tally.watched_s for tally in tallies] == [0.0, 0.0]
    assert {tally.sight.hindrance for tally in tallies if tally.sight} == {Hindrance.CAMERA}
    assert [tally.sight.blind_s for tally in tallies if tally.sight] == [15.0, 15.0]


def test_a_lost_camera_is_blind_in_the_health_at_once_and_well_with_the_next_frame(tmp_path: Path) -> None:
    with opened(tmp_path / "spool.sqlite", []) as spool:
        pulse = Pulse("north", AT, spool)
        pulse.beat(1.0)
        assert pulse.state is StationState.WATCHING
        pulse.miss(2.0, "it is unplugged")
        assert (pulse.health().state, pulse.health().reason) == (StationState.BLIND, "it is unplugged")
        pulse.beat(3.0)
        assert pulse.state is StationState.WATCHING


def test_a_usb_camera_that_is_not_there_is_lost_with_its_name() -> None:
    camera = UsbCamera(device="/dev/video99", size=SIZE, fps=30.0)
    with pytest.raises(Lost, match=r"/dev/video99 cannot be opened"):
        next(camera.pictures())


def grey(level: int) -> Luma:
    return np.full(SIZE[::-1], level, np.uint8)


def orders(levels: list[int]) -> list[tuple[int, Order]]:
    exposure = Exposure()
    told = [(second, exposure.next(grey(level), float(second))) for second, level in enumerate(levels)]
    return [(second, order) for second, order in told if order is not None]


def test_exposure_is_held_once_it_has_settled() -> None:
    assert orders([120] * 100) == [(round(SETTLE_S + 0.5), Order.HOLD)]


def test_a_passing_cloud_changes_nothing() -> None:
    assert len(orders([120] * 10 + [30] * round(BEYOND_S - 5) + [120] * 50)) == 1


def test_dusk_lets_the_camera_seek_again() -> None:
    told = [order for _, order in orders([120] * 10 + [30] * 60)]
    assert told[:3] == [Order.HOLD, Order.SEEK, Order.HOLD]
