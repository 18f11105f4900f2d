"""A camera on the board's connector: what it is told, where no camera that can focus is at hand."""

from collections.abc import Callable, Generator
from contextlib import contextmanager
from itertools import islice
from types import SimpleNamespace

import numpy as np
import pytest

import swapbell_device.cameras.board
from swapbell_device.cameras.board import BoardCamera
from swapbell_device.cameras.live import Lost

SIZE = (32, 16)
CONTROLS = ("AeEnable", "AfMode", "AnalogueGain", "ExposureTime", "LensPosition")


class Played:
    """A camera's library with one camera, which has focus, and gives three pictures a second apart when it starts."""

    def __init__(self, fault: str | None = None) -> None:
        self.camera_controls = dict.fromkeys(CONTROLS)
        self.told: list[dict[str, object]] = []
        self.closed = False
        self._fault = fault
        self.pre_callback: Callable[[object], None] | None = None

    def Picamera2(self, _number: int) -> "Played":
        return self

    @contextmanager
    def MappedArray(self, *_: object, **__: object) -> Generator[SimpleNamespace]:
        yield SimpleNamespace(array=np.zeros((24, 32), np.uint8).ravel())

    def create_video_configuration(self, controls: dict[str, object], **_: object) -> None:
        self.told.append(controls)

    def configure(self, _: object) -> None:
        pass

    def set_controls(self, controls: dict[str, object]) -> None:
        self.told.append(controls)

    def start(self) -> None:
        if self._fault:
            raise RuntimeError(self._fault)
        assert self.pre_callback
        for second in range(1, 4):
            known = {"ExposureTime": 2000, "LensPosition": 8.5, "SensorTimestamp": second * 10**9}
            self.pre_callback(SimpleNamespace(get_metadata=known.copy, config={"main": {"stride": 32}}))

    def close(self) -> None:
        self.closed = True


def played(monkeypatch: pytest.MonkeyPatch, fault: str | None = None) -> Played:
    library = Played(fault)
    monkeypatch.setattr(swapbell_device.cameras.board, "_library", lambda: library)
    return library


def test_focus_that_is_not_said_is_found_and_then_held(monkeypatch: pytest.MonkeyPatch) -> None:
    library = played(monkeypatch)
    list(islice(BoardCamera(size=SIZE, fps=60.0).pictures(), 3))
    begun, held = library.told
    assert begun["AfMode"] == 2
    assert (held["AfMode"], held["LensPosition"]) == (0, 8.5)


def test_each_picture_says_how_long_it_was_exposed(monkeypatch: pytest.MonkeyPatch) -> None:
    played(monkeypatch)
    shots = list(islice(BoardCamera(size=SIZE, fps=60.0).pictures(), 3))
    assert [shot.exposure_s for shot in shots] == [0.002] * 3


def test_focus_that_is_said_is_held_from_the_first_picture(monkeypatch: pytest.MonkeyPatch) -> None:
    library = played(monkeypatch)
    list(islice(BoardCamera(size=SIZE, fps=60.0, focus_per_m=9.0).pictures(), 3))
    assert [(told["AfMode"], told["LensPosition"]) for told in library.told] == [(0, 9.0), (0, 9.0)]


def test_a_camera_that_the_board_does_not_find_is_lost_with_the_way_out(monkeypatch: pytest.MonkeyPatch) -> None:
    def none_such(_: int) -> None:
        raise IndexError("list index out of range")

    monkeypatch.setattr(played(monkeypatch), "Picamera2", none_such)
    with pytest.raises(
        Lost, match="camera 0 cannot be opened: the board finds none of that number; look at its cable"
    ):
        next(BoardCamera(size=SIZE, fps=60.0).pictures())


def test_a_camera_that_does_not_start_is_lost_and_closed(monkeypatch: pytest.MonkeyPatch) -> None:
    library = played(monkeypatch, "it did not start")
    with pytest.raises(Lost, match=r"camera 0 cannot be opened \(it did not start\)"):
        next(BoardCamera(size=SIZE, fps=60.0).pictures())
    assert library.closed
