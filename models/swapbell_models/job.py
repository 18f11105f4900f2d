"""One station's job as its log tells it: the phase it stands in, what is expected next, and by when."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from swapbell_models.phase import Event, Phase, acts, following
from swapbell_models.quantity import aware, lasting

# Longest time that toxic bait was left out in the published notices (3-8 days: Lake Okareka, 13 December 2016).
TOXIC_MAX = timedelta(days=8)
# Our choice: a lure that hangs longer than two weeks is no lure, and a season is half a year.
LURE_MAX, WATCH_MAX = timedelta(days=14), timedelta(days=182)

FRESH = frozenset({Event.LURED, Event.REFRESHED, Event.SWAPPED, Event.REBAITED, Event.RELURED})
DOSED = frozenset({Event.SWAPPED, Event.REBAITED})
ENDED = frozenset({Phase.CLOSED, Phase.ABANDONED})


@dataclass(frozen=True, slots=True)
class Terms:
    """By when each thing is due; the label and the permit come first.

    Attributes
    ----------
    lure
        How long a lure stays fresh, at most 14 days. 3 days: common practice, no source.
    toxic
        How long toxic bait stays out, at most 8 days. 3 days: Howse et al. 2024, doi 10.1007/s10340-024-01788-9.
    idle
        How soon after the withdrawal a fresh lure hangs and the rest of the bait is disposed of, at most 14 days.
        1 day: our choice, so that a first look is possible on the fourth day after a swap.
    watch
        How long after the swap the station verifies, at most 182 days. 28 days: by then visits were back to about
        30 % (Spurr 1991, wasps poison-baited with 1080 in sardine).
    """

    lure: timedelta = timedelta(days=3)
    toxic: timedelta = timedelta(days=3)
    idle: timedelta = timedelta(days=1)
    watch: timedelta = timedelta(days=28)

    def __post_init__(self) -> None:
        """Refuse terms under which a deadline would mean nothing."""
        lasting("lure", self.lure, LURE_MAX)
        lasting("toxic", self.toxic, TOXIC_MAX)
        lasting("idle", self.idle, LURE_MAX)
        lasting("watch", self.watch, WATCH_MAX)


@dataclass(frozen=True, slots=True)
class Due:
    """One thing that a job expects next.

    Attributes
    ----------
    event
        What is to be logged.
    by_at
        By when, aware; nothing where no clock runs.
    words
        The same for a person.
    """

    event: Event
    by_at: datetime | None
    words: str


@dataclass(frozen=True, slots=True)
class Job:
    """Where one station stands. It starts with `Job(planned_at)`; each event makes the next value.

    Attributes
    ----------
    logged_at
        The moment of the last event, aware.
    phase
        Where the station stands.
    fresh_at, swapped_at, withdrawn_at
        When the bait that hangs was last made fresh, toxic bait was last put in, and was last taken out; aware.
    in_hand
        Whether toxic bait was taken in and not yet disposed of: then the job cannot end.
    terms
        By when each thing is due.
    lost
        Whether it ended with toxic bait that nobody found.
    """

    logged_at: datetime
    phase: Phase = Phase.PLANNED
    fresh_at: datetime | None = None
    swapped_at: datetime | None = None
    withdrawn_at: datetime | None = None
    in_hand: bool = False
    terms: Terms = Terms()
    lost: bool = False

    def __post_init__(self) -> None:
        """Refuse a moment without its offset from UTC."""
        for name in ("logged_at", "fresh_at", "swapped_at", "withdrawn_at"):
            if (at := getattr(self, name)) is not None:
                aware(name, at)

    @property
    def legal(self) -> tuple[Event, ...]:
        """What may be logged now, in the order of the table."""
        return tuple(act for act in acts(self.phase) if not self._barred(act, following(self.phase, act)))

    @property
    def expects(self) -> tuple[Due, ...]:
        """What comes next, the most pressing first."""
        expected = EXPECTED[self.phase]
        return tuple(Due(event, by(self), words) for event, by, words in expected if event in self.legal)

    def at(self, now: datetime) -> "Job":
        """Return the job as the clock makes it: toxic bait at or past its deadline is overdue.

        Raises
        ------
        ValueError
            If the moment is naive or lies before the last event.
        """
        if aware("now", now) < self.logged_at:
            raise ValueError(f"now must not lie before the last event at {self.logged_at}, but is {now}")
        deadline_at = _toxic_due(self)
        late = self.phase is Phase.TOXIC and deadline_at is not None and deadline_at <= now
        return replace(self, phase=following(self.phase, Event.DEADLINE)) if late else self

    def after(self, event: Event, at: datetime) -> "Job":
        """Return the job after an event.

        Parameters
        ----------
        event : Event
            What a person logged. The deadline is not logged: the clock alone brings it.
        at : datetime
            When it happened, aware, not before the last event.

        Raises
        ------
        ValueError
            If the event is illegal now; the message says what is legal. If the moment is naive or too early.
        """
        job = self.at(at)
        if event is Event.DEADLINE:
            raise ValueError("event 'deadline passed' cannot be logged: the clock brings it, see Job.at")
        phase = following(job.phase, event)
        if job._barred(event, phase):
            hand = "toxic" if self.in_hand else "no"
            choice = ", ".join(act.value for act in job.legal)
            raise ValueError(f"event {event.value!r} is not legal with {hand} bait in hand; legal now: {choice}")
        return job._moved(event, phase, at)

    def _barred(self, event: Event, phase: Phase) -> bool:
        """Tell whether the bait in hand forbids what the table allows: no end with it, no disposal without it."""
        return phase in ENDED if self.in_hand else event is Event.DISPOSED

    def _moved(self, event: Event, phase: Phase, at: datetime) -> "Job":
        return replace(
            self,
            logged_at=at,
            phase=phase,
            fresh_at=at if event in FRESH else self.fresh_at,
            swapped_at=at if event in DOSED else self.swapped_at,
            withdrawn_at=at if event is Event.WITHDRAWN else self.withdrawn_at,
            in_hand=event is Event.WITHDRAWN or (self.in_hand and event is not Event.DISPOSED),
            lost=event is Event.LOST,
        )


By = Callable[[Job], datetime | None]


def _no_clock(_job: Job) -> None:
    return None


def _lure_stale(job: Job) -> datetime | None:
    return job.fresh_at and job.fresh_at + job.terms.lure


def _toxic_due(job: Job) -> datetime | None:
    return job.swapped_at and job.swapped_at + job.terms.toxic


def _idle_over(job: Job) -> datetime | None:
    return job.withdrawn_at and job.withdrawn_at + job.terms.idle


def _watch_over(job: Job) -> datetime | None:
    return job.swapped_at and job.swapped_at + job.terms.watch


# What each phase expects next and by when; what is not legal at the moment is left out.
EXPECTED: Mapping[Phase, tuple[tuple[Event, By, str], ...]] = {
    Phase.PLANNED: ((Event.LURED, _no_clock, "hang out the station with a lure"),),
    Phase.LURING: (
        (Event.REFRESHED, _lure_stale, "put in fresh lure: a dry one draws no wasps"),
        (Event.SWAPPED, _no_clock, "swap when the host calls for it, better with all stations of the site"),
    ),
    Phase.TOXIC: ((Event.WITHDRAWN, _toxic_due, "take the toxic bait out and weigh it back"),),
    Phase.OVERDUE: ((Event.WITHDRAWN, _toxic_due, "take the toxic bait out now: its deadline has passed"),),
    Phase.WITHDRAWN: (
        (Event.RELURED, _idle_over, "hang out fresh lure: an empty toxic bait proves nothing"),
        (Event.DISPOSED, _idle_over, "dispose of the bait as its label says"),
    ),
    Phase.VERIFYING: (
        (Event.REFRESHED, _lure_stale, "put in fresh lure: a dry one looks like success"),
        (Event.DISPOSED, _idle_over, "dispose of the bait as its label says"),
        (Event.CLOSED, _watch_over, "close the job once the watch for new wasps is over"),
    ),
    Phase.CLOSED: (),
    Phase.ABANDONED: (),
}
