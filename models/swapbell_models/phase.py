"""The phases of a station's job, from the plan to the close: one table says which event leads where.

Only acts that a person logs, and the deadline of a toxic bait, change a phase. What the traffic says (`touched`,
`ready`) comes and goes by itself, so it stands beside the phase as a verdict and never moves it.
"""

from collections.abc import Mapping
from enum import Enum


class Phase(Enum):
    """Where a station stands in its job."""

    PLANNED = "planned"
    LURING = "luring"
    TOXIC = "toxic"
    OVERDUE = "overdue"
    WITHDRAWN = "withdrawn"
    VERIFYING = "verifying"
    CLOSED = "closed"
    ABANDONED = "abandoned"


class Event(Enum):
    """What happens to a station: the acts of a person, and the passing of the toxic bait's deadline."""

    LURED = "lured"
    REFRESHED = "refreshed"
    MOVED = "moved"
    SWAPPED = "swapped"
    DEADLINE = "deadline passed"
    WITHDRAWN = "withdrawn"
    LOST = "lost"
    REBAITED = "rebaited"
    DISPOSED = "disposed"
    RELURED = "relured"
    CLOSED = "closed"
    GIVEN_UP = "given up"


# The whole job. A station with toxic bait is never moved, closed or given up: first the bait comes out. Bait that
# cannot be found is lost only after its deadline; until then it is looked for. A station that verifies stays where it
# is, or before and after could not be compared. A control station goes from luring to closed without toxic bait.
TABLE: Mapping[Phase, Mapping[Event, Phase]] = {
    Phase.PLANNED: {
        Event.LURED: Phase.LURING,
        Event.MOVED: Phase.PLANNED,
        Event.GIVEN_UP: Phase.ABANDONED,
    },
    Phase.LURING: {
        Event.REFRESHED: Phase.LURING,
        Event.MOVED: Phase.LURING,
        Event.SWAPPED: Phase.TOXIC,
        Event.CLOSED: Phase.CLOSED,
        Event.GIVEN_UP: Phase.ABANDONED,
    },
    Phase.TOXIC: {
        Event.DEADLINE: Phase.OVERDUE,
        Event.WITHDRAWN: Phase.WITHDRAWN,
    },
    Phase.OVERDUE: {
        Event.WITHDRAWN: Phase.WITHDRAWN,
        Event.LOST: Phase.ABANDONED,
    },
    Phase.WITHDRAWN: {
        Event.DISPOSED: Phase.WITHDRAWN,
        Event.REBAITED: Phase.TOXIC,
        Event.RELURED: Phase.VERIFYING,
        Event.GIVEN_UP: Phase.ABANDONED,
    },
    Phase.VERIFYING: {
        Event.REFRESHED: Phase.VERIFYING,
        Event.DISPOSED: Phase.VERIFYING,
        Event.SWAPPED: Phase.TOXIC,
        Event.CLOSED: Phase.CLOSED,
        Event.GIVEN_UP: Phase.ABANDONED,
    },
    Phase.CLOSED: {},
    Phase.ABANDONED: {},
}


def acts(phase: Phase) -> tuple[Event, ...]:
    """Return what a person may log in this phase, in the order of the table; the deadline is the clock's alone."""
    return tuple(event for event in TABLE[phase] if event is not Event.DEADLINE)


def following(phase: Phase, event: Event) -> Phase:
    """Return the phase that an event leads to.

    Raises
    ------
    ValueError
        If the event is illegal in this phase; the message says what is legal.
    """
    if event not in TABLE[phase]:
        choice = ", ".join(act.value for act in acts(phase)) or "nothing, the job has ended"
        raise ValueError(f"event {event.value!r} is not legal while {phase.value}; legal now: {choice}")
    return TABLE[phase][event]
