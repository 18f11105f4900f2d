"""How well a count agrees with the truth: what was matched, missed and invented, and how far lengths are off.

Events are matched one to one within half a second, each direction on its own. Going through both lists in time order
and matching the earliest possible pair each time gives the largest number of matches. For if the earliest true event
and the earliest counted one are close enough, any matching can be changed to hold that pair without losing one: the
partners that they lose are later than both, and close enough to each other. If not, the earlier of the two is too
early for all that is left. No general assignment is needed.
"""

import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from swapbell_device.truthfile import Truth
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Crossing, Direction

# Truth and count are the same event within this time: the design's figure.
WITHIN_S = 0.5
# The trade's rule: ten visits within five minutes (common practice, no source).
WINDOW_S = 300.0
VISITS = 10


@dataclass(frozen=True, slots=True)
class Event:
    """A true or counted crossing; footage that nobody measured has neither size nor length."""

    at_s: float
    direction: Direction
    size: SizeClass | None = None
    length_mm: float | None = None

    def is_visit(self) -> bool:
        """Tell whether this is one wasp-sized insect coming in, or one of unknown size."""
        return self.direction is Direction.IN and self.size in {SizeClass.WASP, None}


@dataclass(frozen=True, slots=True)
class Marks:
    """What a count got right and wrong.

    Attributes
    ----------
    true, counted, matched
        Number of true events, of counted ones, and of those that are the same.
    """

    true: int = 0
    counted: int = 0
    matched: int = 0

    def __add__(self, other: "Marks") -> "Marks":
        return Marks(self.true + other.true, self.counted + other.counted, self.matched + other.matched)

    @property
    def precision(self) -> float | None:
        """Part of the counted events that are true; None where nothing was counted."""
        return self.matched / self.counted if self.counted else None

    @property
    def recall(self) -> float | None:
        """Part of the true events that were counted; None where there was nothing to count."""
        return self.matched / self.true if self.true else None

    @property
    def f1(self) -> float | None:
        """Harmonic mean of precision and recall; None where there was nothing to count and nothing was counted."""
        return 2 * self.matched / (self.true + self.counted) if self.true + self.counted else None


@dataclass(frozen=True, slots=True)
class Score:
    """The agreement of one clip, or of several taken together.

    Attributes
    ----------
    whole, inward, outward
        Marks of all events and of each direction.
    sizes
        Marks of each size class, where the truth knows it: an event of another class is no match.
    visits
        Marks of what the rule counts, wasp-sized events coming in, where the truth knows sizes.
    count_off
        Sum over clips and directions of how many the count is off, whichever way.
    length_errors_mm
        Counted length less true length of each matched event [mm].
    worst_window
        True and counted visits in the five minutes where they differ most.
    reached_s
        True and counted time at which ten visits within five minutes are reached [s]; None where they never are.
    """

    whole: Marks = Marks()
    inward: Marks = Marks()
    outward: Marks = Marks()
    sizes: dict[SizeClass, Marks] = field(default_factory=dict[SizeClass, Marks])
    visits: Marks = Marks()
    count_off: int = 0
    length_errors_mm: tuple[float, ...] = ()
    worst_window: tuple[int, int] = (0, 0)
    reached_s: tuple[tuple[float | None, float | None], ...] = ()

    def __add__(self, other: "Score") -> "Score":
        return Score(
            self.whole + other.whole,
            self.inward + other.inward,
            self.outward + other.outward,
            {size: self.sizes.get(size, Marks()) + other.sizes.get(size, Marks()) for size in SizeClass},
            self.visits + other.visits,
            self.count_off + other.count_off,
            self.length_errors_mm + other.length_errors_mm,
            max(self.worst_window, other.worst_window, key=_badness),
            self.reached_s + other.reached_s,
        )

    @property
    def count_error(self) -> float | None:
        """How far the count is off as a part of the true count; None where there was nothing to count."""
        return self.count_off / self.whole.true if self.whole.true else None

    @property
    def length_bias_mm(self) -> float | None:
        """Mean length error [mm]."""
        return statistics.fmean(self.length_errors_mm) if self.length_errors_mm else None

    @property
    def length_spread_mm(self) -> float | None:
        """Standard deviation of the length error [mm]; None for fewer than two."""
        return statistics.stdev(self.length_errors_mm) if len(self.length_errors_mm) > 1 else None

    @property
    def reached_off_s(self) -> float | None:
        """How far the moment of ten visits in five minutes is off at most [s], where truth and count reach it."""
        return max((abs(true - counted) for true, counted in self.reached_s if true and counted), default=None)

    @property
    def reached_wrongly(self) -> int | None:
        """In how many clips only one of truth and count reaches ten visits in five minutes; None if none does."""
        lacking = [{true is None, counted is None} for true, counted in self.reached_s]
        return sum(len(one) > 1 for one in lacking) if any(False in one for one in lacking) else None

    @property
    def length_error_mm(self) -> float | None:
        """Mean absolute length error [mm]."""
        return statistics.fmean(map(abs, self.length_errors_mm)) if self.length_errors_mm else None


def events(crossings: Iterable[Crossing]) -> list[Event]:
    """Return crossings as events, in time order."""
    found = (Event(one.at_s, one.direction, one.size, one.length_mm) for one in crossings)
    return sorted(found, key=lambda event: event.at_s)


def known(truth: Truth) -> list[Event]:
    """Return the crossings of a truth as events, in time order."""
    found = (Event(one.t_s, one.direction, one.size, one.length_mm) for one in truth.crossings)
    return sorted(found, key=lambda event: event.at_s)


def score(true: Sequence[Event], counted: Sequence[Event]) -> Score:
    """Return how well a count agrees with the truth of one clip.

    Parameters
    ----------
    true, counted : sequence of Event
        In time order; times count from the same moment [s].
    """
    pairs = {d: match(_going(true, d), _going(counted, d)) for d in Direction}
    marks = {d: Marks(len(_going(true, d)), len(_going(counted, d)), len(pairs[d])) for d in Direction}
    visits, seen = _visits(true), _visits(counted)
    sized = all(event.size is not None for event in true)
    return Score(
        marks[Direction.IN] + marks[Direction.OUT],
        marks[Direction.IN],
        marks[Direction.OUT],
        {size: _of_size(true, counted, size) for size in SizeClass} if sized else {},
        Marks(len(visits), len(seen), len(match(visits, seen))) if sized else Marks(),
        sum(abs(mark.true - mark.counted) for mark in marks.values()),
        tuple(_length_errors([*pairs[Direction.IN], *pairs[Direction.OUT]])),
        _worst_window(visits, seen),
        ((reached_s([e.at_s for e in visits]), reached_s([e.at_s for e in seen])),),
    )


def match(true: Sequence[Event], counted: Sequence[Event], within_s: float = WITHIN_S) -> list[tuple[Event, Event]]:
    """Return the largest set of pairs that are close enough in time; both lists in time order, of one direction."""
    pairs: list[tuple[Event, Event]] = []
    left, right = 0, 0
    while left < len(true) and right < len(counted):
        apart_s = counted[right].at_s - true[left].at_s
        if abs(apart_s) <= within_s:
            pairs.append((true[left], counted[right]))
        left += apart_s >= -within_s
        right += apart_s <= within_s
    return pairs


def reached_s(visits_s: Sequence[float]) -> float | None:
    """Return when the rule's number of visits within its window is first reached [s], None where it never is."""
    tenths = zip(visits_s, visits_s[VISITS - 1 :], strict=False)
    return next((tenth for first, tenth in tenths if tenth - first < WINDOW_S), None)


def _going(found: Iterable[Event], direction: Direction) -> list[Event]:
    return [event for event in found if event.direction is direction]


def _of_size(true: Sequence[Event], counted: Sequence[Event], size: SizeClass) -> Marks:
    these, those = [e for e in true if e.size is size], [e for e in counted if e.size is size]
    matched = sum(len(match(_going(these, d), _going(those, d))) for d in Direction)
    return Marks(len(these), len(those), matched)


def _length_errors(pairs: Iterable[tuple[Event, Event]]) -> Iterable[float]:
    return (
        counted.length_mm - true.length_mm
        for true, counted in pairs
        if true.length_mm is not None and counted.length_mm is not None
    )


def _visits(found: Iterable[Event]) -> list[Event]:
    return [event for event in found if event.is_visit()]


def _worst_window(visits: Sequence[Event], seen: Sequence[Event]) -> tuple[int, int]:
    """Return the true and counted visits in those five minutes from a visit on where they differ most.

    A matched visit is taken at its true time, so that none falls out of a window for being counted a moment early.
    """
    true_at = {id(found): known.at_s for known, found in match(visits, seen)}
    true_s, counted_s = [e.at_s for e in visits], [true_at.get(id(e), e.at_s) for e in seen]
    windows = [(_within(true_s, start), _within(counted_s, start)) for start in (*true_s, *counted_s)]
    return max(windows, key=_badness, default=(0, 0))


def _badness(window: tuple[int, int]) -> tuple[int, int]:
    """Return what makes one window worse than another: how far it is off, and then how much was to be counted."""
    true, counted = window
    return abs(true - counted), true


def _within(times_s: Sequence[float], start_s: float) -> int:
    return sum(start_s <= at_s < start_s + WINDOW_S for at_s in times_s)
