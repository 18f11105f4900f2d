"""Where a camera has to hang over a lane, or which limit forbids it and what would satisfy it.

A body grows in the image as the camera comes nearer, while the field and all that is sharp shrink: so the distances
at which every limit holds are one span. The best is the nearest with some room in every limit, as a short hood shakes
least and shows bodies largest; where there is none, the one whose tightest limits have most room, one after another.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from swapbell_models.quantity import positive
from swapbell_models.viewing.cameras import Camera, Mode
from swapbell_models.viewing.lane import Lane, Limit, Margin
from swapbell_models.viewing.view import Side, View, view

# Our choice: in steps finer than anybody mounts, from the length of a lens to the height of a person.
DISTANCES_MM = tuple(float(mm) for mm in range(10, 1501))
# Our choice: a tenth, for what a hand cannot mount and aim better.
ROOM = 1.1


@dataclass(frozen=True, slots=True)
class Framing:
    """A camera in one of its modes over a lane.

    Attributes
    ----------
    best
        The view from the best distance.
    span_mm
        The nearest and the farthest distance at which every limit holds [mm]; nothing where there is none.
    alone
        Where there is none: each limit that stands in the way alone, with its largest ratio while all others hold.
    """

    best: View
    span_mm: tuple[float, float] | None
    alone: Mapping[Limit, float]

    @property
    def fits(self) -> bool:
        """Whether every limit holds somewhere."""
        return self.span_mm is not None

    @property
    def binding(self) -> tuple[Margin, ...]:
        """The limits that do not hold at the best distance, the tightest first."""
        return tuple(each for each in self.best.margins if each.ratio < 1.0)


def framings(camera: Camera, lane: Lane, distances_mm: Sequence[float] = DISTANCES_MM) -> tuple[Framing, ...]:
    """Return every mode of a camera over a lane: what fits first, fewest pixels first, then the nearest miss first.

    Parameters
    ----------
    camera : Camera
        With a lens.
    lane : Lane
        What has to be seen.
    distances_mm : sequence of float
        Where the camera may hang [mm]; those within the focal length are passed over.

    Raises
    ------
    ValueError
        If the camera has no lens, or there is no distance to choose from.
    """
    found = [framing(camera, mode, lane, distances_mm) for mode in camera.modes]
    return tuple(sorted(found, key=_rank))


def framing(camera: Camera, mode: Mode, lane: Lane, distances_mm: Sequence[float] = DISTANCES_MM) -> Framing:
    """Return one mode of a camera over a lane, with the better side of the image along the way.

    Parameters
    ----------
    camera, mode : Camera, Mode
        With a lens.
    lane : Lane
        What has to be seen.
    distances_mm : sequence of float
        As for `framings` [mm].

    Raises
    ------
    ValueError
        As for `framings`.
    """
    focal_mm = camera.fitted()[0].focal_mm
    beyond = sorted(each for each in distances_mm if positive("distances_mm", each, "mm") > focal_mm)
    if not beyond:
        raise ValueError(f"distances_mm must reach beyond the focal length of {focal_mm:g} mm")
    sides = [_of_side([view(camera, mode, lane, side, each) for each in beyond]) for side in Side]
    return max(sides, key=lambda each: (_merit(each.best.margins), -each.best.aim.distance_mm))


def _of_side(views: Sequence[View]) -> Framing:
    """Return the framing of views from one side, the nearest first."""
    seen = [(each, each.margins) for each in views]
    fit = [each.aim.distance_mm for each, margins in seen if margins[0].ratio >= 1.0]
    best, _ = max(seen, key=lambda pair: _merit(pair[1]))  # of several the first, which is the nearest
    return Framing(best, (fit[0], fit[-1]) if fit else None, {} if fit else _alone([each for _, each in seen]))


def _alone(seen: Sequence[Sequence[Margin]]) -> dict[Limit, float]:
    """Return the limits of which each is the only one that fails somewhere, the nearest to holding first."""
    largest: dict[Limit, float] = {}
    for tightest, second, *_ in seen:
        if second.ratio >= 1.0:
            largest[tightest.limit] = max(tightest.ratio, largest.get(tightest.limit, tightest.ratio))
    return dict(sorted(largest.items(), key=lambda item: -item[1]))


def _merit(margins: Sequence[Margin]) -> list[float]:
    return [min(each.ratio, ROOM) for each in margins]


def _rank(found: Framing) -> tuple[bool, list[float], int]:
    short = [-each.ratio for each in found.binding]
    return not found.fits, short, found.best.mode.width_px * found.best.mode.height_px
