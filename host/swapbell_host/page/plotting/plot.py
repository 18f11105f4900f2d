"""All that a plot of one station shows, and the same as JSON for the page's script."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import Enum
from zoneinfo import ZoneInfo

from swapbell_host.count import Count, runs
from swapbell_host.jobs.stages import Stage
from swapbell_host.page.plotting.clock import changes, names
from swapbell_host.page.plotting.points import STEP, Point, gaps, points, step_for
from swapbell_models.calendar.daylight import nights
from swapbell_models.calendar.place import Place
from swapbell_models.readiness import Rule

Pair = tuple[datetime, datetime]


class MarkKind(Enum):
    """What a mark on a plot stands for."""

    DONE = "done"
    TOLD = "told"
    CLOCK = "clock"


@dataclass(frozen=True, slots=True)
class Mark:
    """A moment, aware UTC, at which something was done, told, or a clock was changed."""

    at: datetime
    kind: MarkKind
    words: str


@dataclass(frozen=True, slots=True)
class Plot:
    """Visits per five minutes against the rule.

    Attributes
    ----------
    from_at, to_at, until_at
        What is shown, and up to when anything can be known, aware UTC.
    rule
        What the rule comes to in five minutes [visits].
    foraging
        The foraging hours; nothing where the station's place is not known.
    twofold
        When two counters reported under the station's name, which is a gap, in time order.
    marks
        In time order; a mark's number is its place among them, from 1.
    """

    zone: ZoneInfo
    from_at: datetime
    to_at: datetime
    until_at: datetime
    step: timedelta
    rule: float
    points: Sequence[Point]
    gaps: Sequence[Pair]
    foraging: Sequence[Pair] | None
    stages: Sequence[Stage]
    marks: Sequence[Mark]
    twofold: Sequence[Pair] = ()

    @property
    def thinned(self) -> bool:
        """Whether each step stands for several five minutes, of which it shows the fullest."""
        return self.step > STEP


def plot(
    counts: Sequence[Count],
    pair: Pair,
    now: datetime,
    rule: Rule,
    zone: ZoneInfo,
    stages: Sequence[Stage] = (),
    marks: Sequence[Mark] = (),
) -> Plot:
    """Return the plot of a stretch of time.

    Parameters
    ----------
    counts : sequence of Count
        What the station counted by five minutes, in time order.
    pair : tuple of datetime
        What is shown, aware UTC.
    now : datetime
        Aware UTC: what lies ahead is no gap.
    rule : Rule
        The station's, with its place if that is known.
    zone : ZoneInfo
        The site's.
    stages, marks : sequence
        Of the whole story; what lies outside is left out.

    Raises
    ------
    ValueError
        If it is too long to be plotted.
    """
    from_at, to_at = pair
    until_at, step = max(from_at, min(to_at, now)), step_for(from_at, to_at)
    found = points(counts, from_at, until_at, step)
    clocks = [Mark(change.at, MarkKind.CLOCK, change.words) for change in changes(zone, from_at, to_at)]
    return Plot(
        zone,
        from_at,
        to_at,
        until_at,
        step,
        rule.visits * STEP.total_seconds() / rule.window_s,
        found,
        gaps(found, step, until_at),
        foraging(rule.place, from_at, to_at) if rule.place else None,
        [stage for stage in stages if stage.from_at < to_at and stage.to_at > from_at],
        sorted((mark for mark in (*marks, *clocks) if from_at <= mark.at < to_at), key=lambda mark: mark.at),
        runs([count.from_at for count in counts if count.twofold_s], STEP),
    )


def foraging(place: Place, from_at: datetime, to_at: datetime) -> list[Pair]:
    """Return the foraging hours of a place between two moments, aware UTC, in time order."""
    dark = nights(place, from_at, to_at)
    begins, ends = [from_at, *(end_at for _, end_at in dark)], [*(begin_at for begin_at, _ in dark), to_at]
    return [(begin_at, end_at) for begin_at, end_at in zip(begins, ends, strict=True) if begin_at < end_at]


def document(shown: Plot) -> dict[str, object]:
    """Return the plot as JSON holds it: moments are seconds since 1970-01-01 UTC, and what is not known is null."""
    return {
        "zone": shown.zone.key,
        "clock": [[_s(at), name] for at, name in names(shown.zone, shown.from_at, shown.to_at)],
        "from": _s(shown.from_at),
        "to": _s(shown.to_at),
        "step_s": shown.step.total_seconds(),
        "rule": shown.rule,
        "at": [_s(point.from_at) for point in shown.points],
        "most": [point.most for point in shown.points],
        "mean": [None if point.mean is None else round(point.mean, 2) for point in shown.points],
        "watched": [round(point.watched, 3) for point in shown.points],
        "gaps": _pairs(shown.gaps),
        "twofold": _pairs(shown.twofold),
        "foraging": None if shown.foraging is None else _pairs(shown.foraging),
        "phases": [
            {"phase": each.phase.value, "from": _s(each.from_at), "to": _s(each.to_at)} for each in shown.stages
        ],
        "marks": [{"at": _s(mark.at), "kind": mark.kind.value, "words": mark.words} for mark in shown.marks],
    }


def _s(at: datetime) -> int:
    return round(at.timestamp())


def _pairs(pairs: Sequence[Pair]) -> list[list[int]]:
    return [[_s(from_at), _s(to_at)] for from_at, to_at in pairs]
