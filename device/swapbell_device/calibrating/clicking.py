"""Calibration without a card, click by click: a rectangle's corners or a ruler's ends, the gate, the inside."""

from dataclasses import dataclass, replace

from swapbell_device.calibrating.fitting import Calibration
from swapbell_device.calibrating.stated import by_length, by_rectangle
from swapbell_device.stationfile import GateLine
from swapbell_models.fault import Mistake
from swapbell_models.optics import Point

RULER = ("one end of the ruler", "the other end of the ruler")
RECTANGLE = (
    "a corner of the rectangle",
    "the next corner, at the other end of the first side",
    "the corner after that, on the same way round",
    "its last corner",
)
GATE = (
    "one end of the gate, where insects pass",
    "the other end of the gate",
    "a point inside, on the bait's side of the gate",
)
# Our choice: anything that lies on a station's board is longer than one and shorter than the other.
SIDE_MIN_MM, SIDE_MAX_MM = 1.0, 10_000.0


@dataclass(frozen=True, slots=True)
class Clicks:
    """What a person has pointed at so far.

    Attributes
    ----------
    length_mm, width_mm
        The sides of a rectangle that lies on the board; without a width, the length of a ruler [mm].
    points
        Where was clicked [px].
    """

    length_mm: float
    width_mm: float | None = None
    points: tuple[Point, ...] = ()

    @property
    def steps(self) -> tuple[str, ...]:
        """What is to be clicked, in this order."""
        return (*(RULER if self.width_mm is None else RECTANGLE), *GATE)

    @property
    def next(self) -> str | None:
        """What is to be clicked next; nothing if all is known."""
        done, steps = len(self.points), self.steps
        return None if done == len(steps) else f"{done + 1} of {len(steps)}: click {steps[done]}"

    def with_point(self, point: Point) -> "Clicks":
        """Return the clicks with one more, unless all is known."""
        return self if self.next is None else replace(self, points=(*self.points, point))

    def without_last(self) -> "Clicks":
        """Return the clicks without the last."""
        return replace(self, points=self.points[:-1])

    def calibration(self) -> Calibration:
        """Return what all clicks together give.

        Raises
        ------
        Mistake
            If points lie so that nothing can be measured.
        """
        *marked, start, end, inside = self.points
        gate = GateLine(start, end, inside)
        try:
            if self.width_mm is None:
                return by_length(marked, self.length_mm, gate)
            return by_rectangle(marked, (self.length_mm, self.width_mm), gate)
        except ValueError as error:
            raise Mistake(f"the points: {error}; take the last ones back and click anew") from error


def clicks(length: str, width: str) -> Clicks:
    """Return the beginning of a calibration by what a person typed as sides; an empty width means a ruler.

    Raises
    ------
    Mistake
        If they are no millimetres.
    """
    return Clicks(_side("the length", length), _side("the width", width) if width.strip() else None)


def _side(what: str, text: str) -> float:
    try:
        side_mm = float(text.replace(",", "."))
    except ValueError:
        side_mm = 0.0
    if not SIDE_MIN_MM <= side_mm <= SIDE_MAX_MM:
        raise Mistake(f"{what}: give millimetres from {SIDE_MIN_MM:g} to {SIDE_MAX_MM:g}, not {text[:40]!r}")
    return side_mm
