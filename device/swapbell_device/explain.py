"""What each stage saw around a moment of a clip, as one picture: for people who tune, and for reports of errors.

A row is a frame: the image, its difference from the background, the mask, the blobs, the tracks and the gate. All
show the same part of the view: the one that is worked on.
"""

import math
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import cv2
import numpy as np

from swapbell_device.camera import Camera, Clip, Luma, read_times
from swapbell_device.count import check_place, is_same, shown, whole
from swapbell_device.following.track import Blob
from swapbell_device.moment import Moment
from swapbell_device.overlay import BODY_BGR, GATE_BGR, TEXT_BGR, spot
from swapbell_device.seeing.window import Window
from swapbell_device.stationfile import StationFile, read_station
from swapbell_models.fault import Breakdown, Mistake
from swapbell_models.tally import Crossing, Direction

if TYPE_CHECKING:
    from cv2.typing import MatLike

STAGES = ("image", "difference, 4 times", "mask", "blobs", "tracks", "gate")
# Our choice: a body that walks is seen on both sides of the gate within a second.
ROWS_S = (-0.6, -0.3, -0.1, 0.0, 0.1, 0.3, 0.6)
# Our choice: how much of a track's way is drawn [s].
TRAIL_S = 1.0
# Times are told with three decimals; a frame that is this much earlier is still the one that was meant [s].
ROUNDED_S = 0.001
# Our choice: six cells side by side fill a usual screen.
CELL_PX, GAP_PX, HEAD_PX = 320, 4, 44
DIFFERENCE_GAIN = 4.0
Colour = tuple[int, int, int]
FONT = cv2.FONT_HERSHEY_SIMPLEX
WHITE_BGR = (255, 255, 255)
BLACK_BGR = (0, 0, 0)
Trail = deque[tuple[float, tuple[int, int]]]


class Finder(Protocol):
    """The part of the segmenter that is shown."""

    mask: Luma
    difference: Luma


Watch = Callable[[Camera, StationFile, Callable[[Finder], object]], Iterable[Moment]]


@dataclass(frozen=True, slots=True)
class Question:
    """What the command line asks for; None where it does not."""

    clip: Path
    station: Path
    at_s: float
    times: Path | None
    out: Path | None

    @property
    def place(self) -> Path:
        """Where the picture goes: the given name, or the clip's and the moment in the folder one is in."""
        return self.out or Path(f"{self.clip.stem}-at-{self.at_s:g}s.png")

    def check(self) -> None:
        """Refuse a picture's name that is no picture's or something else's."""
        if self.place.suffix.lower() != ".png":
            raise Mistake(f"--out {self.place}: end its name in .png")
        if any(is_same(self.place, each) for each in (self.clip, self.station, self.times) if each is not None):
            raise Mistake(f"--out {self.place}: that is what is read; choose another name")
        check_place(self.place)
        if not self.at_s >= 0.0:
            raise Mistake(f"--at {self.at_s:g}: a clip begins at 0 s; choose a moment within it")


def explain(question: Question, watch: Watch) -> Path:
    """Draw the picture and return where it is; nothing is left half-written.

    Raises
    ------
    Mistake
        If the clip, the station file or the times file cannot be used, or the clip does not reach the moment.
    Breakdown
        If the picture cannot be written.
    """
    question.check()
    station = read_station(question.station)
    clip = Clip(question.clip, None if question.times is None else read_times(question.times))
    finders: list[Finder] = []
    with shown(watch(clip, station, finders.append), clip.frames_promised) as moments:
        rows = list(_rows(question, moments, finders, _Sheet(station, Window(station, clip.size))))
    _write(question.place, _page(question, rows))
    return question.place


def _rows(
    question: Question, moments: Iterable[Moment], finders: list[Finder], sheet: "_Sheet"
) -> "Iterator[MatLike]":
    """Yield a row for each time that is due, until all are; the clip is read no further."""
    due = [question.at_s + step_s - ROUNDED_S for step_s in ROWS_S]
    at_s = 0.0
    for moment in moments:
        at_s = moment.frame.at_s
        sheet.follow(moment)
        if at_s < due[0]:
            continue
        asked_for = at_s >= question.at_s - ROUNDED_S and question.at_s - ROUNDED_S in due
        due = [each for each in due if each > at_s]
        yield sheet.row(moment, finders[0], asked_for)
        if not due:
            return
    if question.at_s - ROUNDED_S in due:
        raise Mistake(f"--at {question.at_s:g}: clip {question.clip} ends at {at_s:.2f} s; choose a moment within it")


class _Sheet:
    """Draws rows, and remembers what came before: ways, counts, the last crossing."""

    def __init__(self, station: StationFile, window: Window) -> None:
        self._station, self._window = station, window
        self._trails: dict[int, Trail] = {}
        self._counts = {Direction.IN: 0, Direction.OUT: 0}
        self._crossing: Crossing | None = None
        self._blobs: list[Blob] | None = None
        self._glanced = False

    def follow(self, moment: Moment) -> None:
        """Take a moment that may not be shown."""
        self._glanced, self._blobs = self._blobs is moment.blobs, moment.blobs
        self._trails = {track.number: self._trails.get(track.number, deque()) for track in moment.tracks}
        for track in moment.tracks:
            trail = self._trails[track.number]
            trail.append((moment.frame.at_s, spot(self._station.view.to_px(track.x_mm, track.y_mm))))
            while trail[0][0] < moment.frame.at_s - TRAIL_S:
                trail.popleft()
        for self._crossing in moment.crossings:
            self._counts[self._crossing.direction] += 1

    def row(self, moment: Moment, finder: Finder, asked_for: bool) -> "MatLike":
        """Return a moment's six cells side by side."""
        image = cv2.cvtColor(moment.frame.image, cv2.COLOR_GRAY2BGR)
        plain = self._cell(image, f"{moment.frame.at_s:.3f} s" + (" <- asked for" if asked_for else ""))
        note = "of an earlier frame: nothing new at a glance" if self._glanced else ""
        difference = cv2.convertScaleAbs(finder.difference, alpha=DIFFERENCE_GAIN)
        faint = cv2.addWeighted(image, 0.6, image, 0.0, 60.0)
        cells = [
            plain,
            self._filled(difference, note),
            self._filled(finder.mask, note),
            self._cell(self._with_blobs(faint.copy(), moment), f"{len(moment.blobs)} blobs"),
            self._cell(self._with_tracks(faint.copy(), moment), f"{len(moment.tracks)} tracks"),
            self._cell(self._with_gate(faint, moment), *self._told()),
        ]
        return _joined(cells, axis=1)

    def _cell(self, picture: "MatLike", *lines: str) -> "MatLike":
        return self._filled(np.asarray(self._window.view(np.asarray(picture, np.uint8))), *lines)

    def _filled(self, part: "MatLike", *lines: str) -> "MatLike":
        """Return the worked-on part at the cell's size, and in colour, with lines in its corner."""
        width, height = (self._window.step * side for side in self._window.size)
        size = CELL_PX, max(1, round(CELL_PX * height / width))
        cell = cv2.resize(part, size, interpolation=cv2.INTER_AREA if part.shape[1] > CELL_PX else cv2.INTER_NEAREST)
        cell = cv2.cvtColor(cell, cv2.COLOR_GRAY2BGR) if cell.ndim == 2 else cell  # noqa: PLR2004  (rows, columns)
        for i, line in enumerate(lines):
            _say(cell, line, (6, 16 + 16 * i))
        return cell

    def _with_blobs(self, picture: "MatLike", moment: Moment) -> "MatLike":
        for blob in moment.blobs:
            centre = spot(self._station.view.to_px(blob.x_mm, blob.y_mm))
            scale = self._station.view.mm_per_px(*centre)
            axes = max(1, round(0.5 * blob.length_mm / scale)), max(1, round(0.5 * blob.width_mm / scale))
            cv2.ellipse(picture, centre, axes, np.degrees(blob.axis_rad), 0, 360, BODY_BGR, self._thick)
            self._label(picture, f"{blob.length_mm:.1f} mm", centre, axes[0])
        return picture

    def _with_tracks(self, picture: "MatLike", moment: Moment) -> "MatLike":
        for track in moment.tracks:
            way = np.array([place for _, place in self._trails[track.number]], np.int32)
            cv2.polylines(picture, [way], False, BODY_BGR, self._thick)
            cv2.circle(picture, way[-1].tolist(), 3 * self._thick, BODY_BGR, -1)
            self._label(picture, f"{track.number}: {track.length_mm:.1f} mm", way[-1].tolist(), 4 * self._thick)
        return picture

    def _with_gate(self, picture: "MatLike", moment: Moment) -> "MatLike":
        gate = self._station.gate
        (x1, y1), (x2, y2), (x, y) = gate.start_px, gate.end_px, gate.inside_px
        cv2.line(picture, spot(gate.start_px), spot(gate.end_px), GATE_BGR, 2 * self._thick)
        side = (x2 - x1) * (y - y1) - (y2 - y1) * (x - x1)
        long = math.copysign(CELL_PX / 8.0 * self._zoom, side) / math.dist(gate.start_px, gate.end_px)
        middle = 0.5 * (x1 + x2), 0.5 * (y1 + y2)
        head = spot((middle[0] - long * (y2 - y1), middle[1] + long * (x2 - x1)))
        cv2.arrowedLine(picture, spot(middle), head, GATE_BGR, self._thick, cv2.LINE_AA, 0, 0.3)
        self._label(picture, "in", head, 4 * self._thick)
        for track in moment.tracks:
            cv2.circle(picture, self._trails[track.number][-1][1], 3 * self._thick, BODY_BGR, -1)
        return picture

    def _told(self) -> Iterator[str]:
        yield f"in {self._counts[Direction.IN]}  out {self._counts[Direction.OUT]} so far"
        if (last := self._crossing) is not None:
            sure = "" if last.confidence is None else f", sure {last.confidence:.2f}"
            yield f"last {last.direction.value} {last.at_s:.2f} s {last.size.value} {last.length_mm:.1f} mm{sure}"

    def _label(self, picture: "MatLike", text: str, beside: tuple[int, int], away: int) -> None:
        _say(picture, text, (beside[0] + away, beside[1]), 0.4 * max(1.0, self._zoom))

    @property
    def _zoom(self) -> float:
        """Pixels of the frame in one of a cell."""
        return float(self._window.step * self._window.size[0] / CELL_PX)

    @property
    def _thick(self) -> int:
        return max(1, round(self._zoom))


def _page(question: Question, rows: "list[MatLike]") -> "MatLike":
    head = np.zeros((HEAD_PX, rows[0].shape[1], 3), np.uint8)
    _say(head, f"{question.clip.name} with {question.station.name} around {question.at_s:g} s", (6, 16))
    for i, stage in enumerate(STAGES):
        _say(head, stage, (6 + i * (CELL_PX + GAP_PX), 36), bgr=TEXT_BGR)
    return _joined([head, *rows], axis=0)


def _joined(pieces: "list[MatLike]", axis: int) -> "MatLike":
    shape = list(pieces[0].shape)
    shape[axis] = GAP_PX
    gap = np.full(shape, 96, np.uint8)
    return np.concatenate([piece for each in pieces for piece in (each, gap)][:-1], axis=axis)


def _say(picture: "MatLike", text: str, at: tuple[int, int], size: float = 0.42, bgr: Colour = WHITE_BGR) -> None:
    """Write on a dark ground of its own, shifted to where it can be read whole."""
    (width, height), low = cv2.getTextSize(text, FONT, size, 1)
    x, y = max(0, min(at[0], picture.shape[1] - width)), max(height + 1, min(at[1], picture.shape[0] - low))
    cv2.rectangle(picture, (x - 1, y - height - 1), (x + width, y + low), BLACK_BGR, -1)
    cv2.putText(picture, text, (x, y), FONT, size, bgr, 1, cv2.LINE_AA)


def _write(path: Path, page: "MatLike") -> None:
    done, coded = cv2.imencode(".png", page)
    if not done:
        raise Breakdown(f"{path}: the picture cannot be made; choose another moment")
    with whole(path) as part:
        part.write_bytes(coded.tobytes())
