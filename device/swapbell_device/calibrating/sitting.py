"""One calibration with somebody looking on: what is seen now, what was clicked, and what is written in the end."""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from threading import Lock

from swapbell_device.calibrating import command
from swapbell_device.calibrating.clicking import Clicks
from swapbell_device.calibrating.finding import Unusable
from swapbell_device.calibrating.fitting import Calibration
from swapbell_device.calibrating.picture import as_jpeg, drawn_over
from swapbell_device.camera import Luma
from swapbell_device.cameras.live import Lost
from swapbell_models.fault import Mistake
from swapbell_models.optics import Point

# The newest, and the one before: a page may be asking for the one while somebody writes what the other shows.
RECENT = 2


@dataclass(frozen=True, slots=True)
class Sighting:
    """What was seen at one moment.

    Attributes
    ----------
    number
        Counts from 1.
    picture
        As the camera had it; nothing where it gave none.
    clicks
        What had been clicked; nothing where the card is looked for.
    made, said
        The calibration, if there is one; what was found, or what is to be mended, a line each.
    """

    number: int
    picture: Luma | None
    clicks: Clicks | None
    made: Calibration | None
    said: tuple[str, ...]

    @property
    def jpeg(self) -> bytes | None:
        """The picture with all that is known drawn in."""
        if self.picture is None:
            return None
        return as_jpeg(drawn_over(self.picture, self.made, self.clicks.points if self.clicks else ()))


class Sitting:
    """A calibration under way; may be asked from several threads.

    Parameters
    ----------
    wish : Wish
        What the command line asks for.
    take : callable
        Returns what the camera sees now, or raises `Lost`.
    """

    def __init__(self, wish: command.Wish, take: Callable[[], Luma]) -> None:
        self._wish, self._take, self._lock = wish, take, Lock()
        self._expected = command.read_expected(wish)
        self._clicks: Clicks | None = None
        self._recent: deque[Sighting] = deque([Sighting(0, None, None, None, ())], RECENT)
        self.written: list[str] = []

    def look(self) -> Sighting:
        """Look anew."""
        with self._lock:
            self._recent.append(self._sighting(self._recent[-1].number + 1))
            return self._recent[-1]

    def begin(self, clicks: Clicks | None) -> None:
        """Go on by clicks, or by the card if there are none."""
        with self._lock:
            self._clicks = clicks

    def click(self, point: Point) -> None:
        """Take a click on the picture [px]; one beside it, or too many, is none."""
        with self._lock:
            picture = self._recent[-1].picture
            if self._clicks is not None and picture is not None and _lies_in(point, picture):
                self._clicks = self._clicks.with_point(point)

    def take_back(self) -> None:
        """Forget the last click."""
        with self._lock:
            if self._clicks is not None:
                self._clicks = self._clicks.without_last()

    def write(self, number: int) -> list[str]:
        """Write what was seen at the sighting of that number, and return what is to be said.

        Raises
        ------
        Mistake
            If it is too long ago, or held nothing that can be written.
        Breakdown
            If it cannot be written.
        """
        with self._lock:
            seen = next((each for each in self._recent if each.number == number), None)
            if seen is None or seen.made is None or seen.picture is None:
                raise Mistake("this picture is not the newest any more: look at the new one, and write that")
            self.written = command.write(self._wish, seen.picture, seen.made, list(seen.said))
            return self.written

    def _sighting(self, number: int) -> Sighting:
        picture: Luma | None = None
        try:
            picture = self._take()
            made = self._made(picture)
            return Sighting(number, picture, self._clicks, made, self._said(picture, made))
        except (Lost, Unusable, Mistake) as fault:
            return Sighting(number, picture, self._clicks, None, (str(fault),))

    def _said(self, picture: Luma, made: Calibration | None) -> tuple[str, ...]:
        if made is not None:
            return tuple(command.told(picture, made, self._expected))
        return (self._clicks.next,) if self._clicks and self._clicks.next else ()

    def _made(self, picture: Luma) -> Calibration | None:
        if self._clicks is None:
            made, what = command.by_card(self._wish, picture), "the gate"
        elif self._clicks.next is None:
            made, what = self._clicks.calibration(), "the gate that was clicked"
        else:
            return None
        command.check_gate(made, picture, what)
        return made

    @property
    def out(self) -> Path:
        """The station file."""
        return command.station_path(self._wish)


def _lies_in(point: Point, picture: Luma) -> bool:
    height, width = (float(side) for side in picture.shape)
    return 0.0 <= point[0] < width and 0.0 <= point[1] < height
