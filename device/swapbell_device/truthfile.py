"""The truth that belongs to a clip, as JSON: its gate, its scale and its crossings."""

from pathlib import Path

import msgspec

from swapbell_device.stationfile import StationFile, parse_station
from swapbell_models.fault import Mistake
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Direction

Pair = tuple[float, float]
SUFFIX = ".truth.json"


class TrueCrossing(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One crossing: the moment when the body's centre passes the line for good, counted from the first frame [s]."""

    t_s: float
    direction: Direction
    size: SizeClass | None = None
    length_mm: float | None = None


class Truth(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What is known of a clip; keys that are not ours are left alone.

    Attributes
    ----------
    clip, times
        Names of the clip and of its times file, beside the truth.
    gate, in_side_point
        The gate line, and a point on the station's side [px].
    crossings
        In time order.
    mm_per_px
        Scale of a square view [mm/px], or
    plane_px, plane_mm
        the same four or more points in the image and on the board.
    condition
        What a drawn clip shows.
    """

    clip: str
    gate: tuple[Pair, Pair]
    in_side_point: Pair
    crossings: tuple[TrueCrossing, ...]
    times: str | None = None
    mm_per_px: float | None = None
    plane_px: tuple[Pair, ...] | None = None
    plane_mm: tuple[Pair, ...] | None = None
    condition: str | None = None

    def station_text(self) -> str:
        """Return the station file that fits this clip."""
        view = (
            f"plane_px = {_points(self.plane_px)}\nplane_mm = {_points(self.plane_mm)}"
            if self.plane_px is not None and self.plane_mm is not None
            else f"mm_per_px = {self.mm_per_px}"
        )
        gate = f"line_px = {_points(self.gate)}\ninside_px = {list(self.in_side_point)}"
        return f"[view]\n{view}\n\n[gate]\n{gate}\n"

    def station(self, name: str) -> StationFile:
        """Return what calibration would know; `name` stands in the message of a `Mistake`."""
        return parse_station(self.station_text(), name)


def read_truth(path: Path) -> Truth:
    """Read a truth.

    Raises
    ------
    Mistake
        If it cannot be read, or lacks what a truth needs.
    """
    try:
        return msgspec.json.decode(path.read_bytes(), type=Truth)
    except OSError as error:
        raise Mistake(f"truth {path}: {error.strerror}; check the path") from error
    except msgspec.DecodeError as error:
        raise Mistake(f"truth {path}: {error}; it needs clip, gate, in_side_point and crossings") from error


def _points(points: tuple[Pair, ...]) -> list[list[float]]:
    return [list(point) for point in points]
