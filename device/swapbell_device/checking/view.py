"""What a few seconds of the camera tell: that it runs, how fast, how well it sees, how large a wasp is in it."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from statistics import median

from swapbell_device.calibrating.sheet import WORKER_MM
from swapbell_device.camera import Camera, Frame
from swapbell_device.cameras.live import Lost
from swapbell_device.checking.finding import Finding, Grade, graded
from swapbell_device.config import BoardSection, Config, UsbSection
from swapbell_device.look import Look
from swapbell_device.sight import Lookout
from swapbell_device.stationfile import StationFile
from swapbell_models.fault import Mistake
from swapbell_models.focus import WORKER_WIDTH_MM, Focus, focus, focus_words
from swapbell_models.tally import Hindrance
from swapbell_models.viewing.lane import BODY_MIN_PX

# Our choice: exposure and focus settle in two seconds, and a second more tells the pace.
WATCHED_S, SETTLED_S = 4.0, 2.0
# Our choice: a camera this much slower than asked for is another one than was planned for.
SLOW_LOOK, SLOW_FAIL = 0.05, 0.5
# Design: at 1 m/s and a body 4 mm wide, 4 ms at the very most.
EXPOSURE_MAX_S = 0.004
GRADES = {Focus.SHARP: Grade.FIT, Focus.SOFT: Grade.LOOK, Focus.BLURRED: Grade.FAIL}
ADVICE = {
    Hindrance.LIGHT: "too dark or too bright; look at the light and the exposure",
    Hindrance.DETAIL: "nothing can be made out; uncover and focus the lens",
    Hindrance.NOISE: "too noisy; give it more light",
    Hindrance.SHAKE: "it shakes; fix the camera",
    Hindrance.MOVING: "too much of the view moves; cut what hangs into it",
    Hindrance.DROPPED: "more than half of the frames are lost; ask for fewer",
}


@dataclass(slots=True)
class Seconds:
    """A few seconds of a camera.

    Attributes
    ----------
    times_s
        When each frame was taken [s].
    look
        How well one can count at it; nothing if no look was due.
    """

    times_s: list[float] = field(default_factory=list[float])
    look: Look | None = None

    def add(self, frame: Frame, look: Look | None) -> None:
        """Take a frame."""
        self.times_s.append(frame.at_s)
        self.look = look or self.look


def view_findings(config: Config, camera: Camera, station: StationFile) -> Iterator[Finding]:
    """Yield what the camera tells; where it gives no pictures, only that."""
    try:
        station.check_size(camera.size)
        seconds = watch(camera, station)
    except (Lost, Mistake) as fault:
        yield Finding("camera", Grade.FAIL, str(fault))
        return
    yield _pace(config, seconds)
    yield _seen(seconds)
    yield from _exposure(config, seconds)
    yield _scale(station)
    yield _sharpness(seconds)


def watch(camera: Camera, station: StationFile) -> Seconds:
    """Return some seconds of a camera, from when it has settled."""
    x, y = middle_px(station)
    lookout, seconds = Lookout(lambda image: image, station.view.mm_per_px(x, y)), Seconds()
    first_s: float | None = None
    for frame in camera.frames():
        first_s = frame.at_s if first_s is None else first_s
        if frame.at_s - first_s >= SETTLED_S:
            seconds.add(frame, lookout.look(frame, ()))
        if frame.at_s - first_s >= WATCHED_S:
            break
    return seconds


def middle_px(station: StationFile) -> tuple[float, float]:
    """Return the middle of the gate [px]."""
    (x1, y1), (x2, y2) = station.gate.start_px, station.gate.end_px
    return (x1 + x2) / 2.0, (y1 + y2) / 2.0


def _pace(config: Config, seconds: Seconds) -> Finding:
    steps = [later - earlier for earlier, later in pairwise(seconds.times_s)]
    if not steps:
        return Finding("camera", Grade.FAIL, "it gave no picture within seconds; look at its cable and its power")
    fps = 1.0 / median(steps)
    if not isinstance(config.camera, BoardSection | UsbSection):
        return Finding("camera", Grade.FIT, f"{fps:.0f} frames a second")
    words, slow = f"{fps:.0f} of {config.camera.fps:.0f} frames a second", 1.0 - fps / config.camera.fps
    return graded(
        "camera", slow, SLOW_LOOK, SLOW_FAIL, words, "its exposure, its mode or the board is too slow for more"
    )


def _seen(seconds: Seconds) -> Finding:
    if seconds.look is None:
        return Finding("view", Grade.LOOK, "too short to tell how well it sees")
    if hindrance := seconds.look.hindrance:
        return Finding("view", Grade.FAIL, ADVICE[hindrance])
    return Finding("view", Grade.FIT, f"mean level {seconds.look.light:.0f} of 255, noise {seconds.look.noise:.1f}")


def _exposure(config: Config, seconds: Seconds) -> Iterator[Finding]:
    if not isinstance(config.camera, BoardSection | UsbSection):
        return
    told_s = seconds.look.exposure_s if seconds.look else None
    if (exposure_s := told_s or config.camera.exposure_s) is None:
        yield Finding(
            "exposure", Grade.LOOK, "found by the camera; state exposure_s, so that a fast body is not smeared"
        )
        return
    speed = WORKER_WIDTH_MM / 3.0 / exposure_s / 1000.0
    words = f"{exposure_s * 1e3:.3g} ms smears a body by a third of its width at {speed:.1f} m/s"
    yield graded("exposure", exposure_s, EXPOSURE_MAX_S, 1.0, words, "shorten it by exposure_s, and give more light")


def _scale(station: StationFile) -> Finding:
    body_px = WORKER_MM / station.view.mm_per_px(*middle_px(station))
    words = f"a worker of {WORKER_MM:.0f} mm is {body_px:.0f} px long"
    return graded("scale", -body_px, -BODY_MIN_PX, -BODY_MIN_PX / 4.0, words, f"{BODY_MIN_PX:.0f} px are better")


def _sharpness(seconds: Seconds) -> Finding:
    found = seconds.look.sharpness if seconds.look else None
    if found is None:
        return Finding("sharpness", Grade.LOOK, "no edge in the view tells; look whether the board is in focus")
    words, grade = f"{focus_words(found)}, a worker's body {WORKER_WIDTH_MM:.0f} mm", GRADES[focus(found)]
    return Finding("sharpness", grade, words if grade is Grade.FIT else f"{words}; focus the camera on the board")
