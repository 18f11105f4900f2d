"""A plot laid out on a sheet, for an SVG that needs no script: where each line, band and label goes [px]."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from math import ceil, floor, log10

from swapbell_host.page.plotting.clock import ticks
from swapbell_host.page.plotting.plot import MarkKind, Pair, Plot
from swapbell_host.page.plotting.points import Point

WIDTH_PX, HEIGHT_PX = 960.0, 380.0
LEFT_PX, RIGHT_PX, TOP_PX, BOTTOM_PX = 48.0, 948.0, 72.0, 336.0
# Our choice: room above the rule, so that its line is never the upper edge.
HEADROOM = 1.25
# Our choice: so many labels at the side can be told apart at a glance.
HEIGHTS = 5
# Our choice: a letter of the labels is this wide; a phase whose name does not fit goes without.
LETTER_PX = 8.5


@dataclass(frozen=True, slots=True)
class Box:
    """A stretch of time as it lies on the sheet, and what is written on it."""

    x: float
    width: float
    words: str = ""


@dataclass(frozen=True, slots=True)
class Flag:
    """A mark's line, number and shape on the sheet."""

    x: float
    number: int
    kind: MarkKind
    words: str


@dataclass(frozen=True, slots=True)
class Label:
    """A word beside an axis."""

    at: float
    words: str


@dataclass(frozen=True, slots=True)
class Picture:
    """The whole sheet.

    Attributes
    ----------
    counted, estimated
        The outlines of the counts, and of the means where the plot is thinned, as SVG paths.
    dots
        Where an estimate from a watched part stands, if the plot is not thinned.
    """

    counted: str
    estimated: str
    dots: Sequence[tuple[float, float]]
    rule_y: float
    foraging: Sequence[Box]
    gaps: Sequence[Box]
    stages: Sequence[Box]
    flags: Sequence[Flag]
    times: Sequence[Label]
    heights: Sequence[Label]


@dataclass(frozen=True, slots=True)
class Scale:
    """From moments and visits to places on the sheet."""

    from_at: datetime
    to_at: datetime
    top: float

    def x(self, at: datetime) -> float:
        """Return where a moment lies; what is outside lies on the edge."""
        share = (at - self.from_at) / (self.to_at - self.from_at)
        return round(LEFT_PX + (RIGHT_PX - LEFT_PX) * min(max(share, 0.0), 1.0), 1)

    def y(self, visits: float) -> float:
        """Return how high so many visits lie."""
        return round(BOTTOM_PX - (BOTTOM_PX - TOP_PX) * visits / self.top, 1)

    def box(self, pair: Pair, words: str = "") -> Box:
        """Return a stretch of time; without its words where they do not fit."""
        x, right = (self.x(at) for at in pair)
        return Box(x, round(right - x, 1), words if len(words) * LETTER_PX < right - x else "")


def picture(shown: Plot) -> Picture:
    """Return the sheet of a plot."""
    values = [value for point in shown.points for value in (point.most, point.mean) if value is not None]
    most = max([*values, shown.rule * HEADROOM])
    spacing = spaced(most)
    scale = Scale(shown.from_at, shown.to_at, spacing * ceil(most / spacing))
    means = [(scale.x(point.from_at + shown.step / 2), point.mean) for point in shown.points]
    return Picture(
        counted=" ".join(_steps(shown, scale)),
        estimated=" ".join(_line(means, scale)) if shown.thinned else "",
        dots=[] if shown.thinned else [(x, scale.y(mean)) for x, mean in means if mean is not None],
        rule_y=scale.y(shown.rule),
        foraging=[scale.box(pair) for pair in shown.foraging or ()],
        gaps=[scale.box(pair) for pair in shown.gaps],
        stages=[scale.box((stage.from_at, stage.to_at), stage.phase.value) for stage in shown.stages],
        flags=[Flag(scale.x(mark.at), n, mark.kind, mark.words) for n, mark in enumerate(shown.marks, start=1)],
        times=[Label(scale.x(tick.at), tick.label) for tick in ticks(shown.zone, shown.from_at, shown.to_at)],
        heights=[Label(scale.y(value), f"{value:g}") for value in _heights(spacing, scale.top)],
    )


def spaced(most: float) -> float:
    """Return how far apart the labels of an axis up to `most` (above 0) stand: 1, 2 or 5 times a power of ten."""
    rough = most / HEIGHTS
    power = 10.0 ** floor(log10(rough))
    return max(1.0, next(power * n for n in (1.0, 2.0, 5.0, 10.0) if power * n >= rough))


def _heights(spacing: float, top: float) -> list[float]:
    return [spacing * n for n in range(round(top / spacing) + 1)]


def _steps(shown: Plot, scale: Scale) -> Iterator[str]:
    """Yield the outline of the counts: level over each step, and broken where nothing is known."""
    for known, run in groupby(shown.points, lambda point: point.most is not None):
        if known:
            yield from _run(list(run), shown, scale)


def _run(run: Sequence[Point], shown: Plot, scale: Scale) -> Iterator[str]:
    yield f"M{scale.x(run[0].from_at):g} {scale.y(run[0].most or 0):g}"
    for point in run:
        yield f"V{scale.y(point.most or 0):g}H{scale.x(min(point.from_at + shown.step, shown.until_at)):g}"


def _line(means: Sequence[tuple[float, float | None]], scale: Scale) -> Iterator[str]:
    pen = "M"
    for x, mean in means:
        if mean is not None:
            yield f"{pen}{x:g} {scale.y(mean):g}"
        pen = "M" if mean is None else "L"
