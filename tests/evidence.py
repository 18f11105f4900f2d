"""What the ledger's longer memory tells of a station, as the slow rules are given it; invented, for tests."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

from swapbell_host.jobs.entry import Act, Entry
from swapbell_host.judging.evidence import STRETCH, Evidence
from swapbell_host.judging.history import History, PastNotice
from swapbell_host.judging.look import Look
from swapbell_models.calendar.place import Hemisphere, Place
from swapbell_models.job import Job
from swapbell_models.phase import Phase
from swapbell_models.readiness import Reason, Rule, Step, Verdict

# Near Hobart; its summer days last from about 19 to 10 UTC.
PLACE = Place(-42.9, 147.3, Hemisphere.SOUTH)
# Evening there, when a whole foraging day has just ended.
EVENING_AT = datetime(2026, 2, 5, 10, 0, tzinfo=UTC)
HUNG_AT = EVENING_AT - timedelta(days=3)
ABOUT = ("phase", "role", "health", "place", "job", "sighting")
BEES = Entry(
    site="valley", station="gate", act=Act.SEEN, at=EVENING_AT, by="Kim", id=9, logged_at=EVENING_AT,
    non_targets="3 honey bees",
)  # fmt: skip
UNJUDGED = Verdict(Step.UNJUDGED, Reason.DARK)


@dataclass(frozen=True, slots=True)
class Stretch:
    """What was counted in five minutes."""

    from_at: datetime
    visits: int = 0
    small: int = 0
    large: int = 0
    watched_s: float = 300.0


def counted(make: Callable[[datetime], Stretch | None], until: datetime = EVENING_AT) -> tuple[Stretch, ...]:
    """Return the stretches of the two days before a moment; nothing makes a gap."""
    moments = [until - timedelta(days=2) + k * STRETCH for k in range(2 * 24 * 12)]
    return tuple(stretch for at in moments if (stretch := make(at)))


def lured(*told: PastNotice, **known: Any) -> Evidence:
    """Return the evidence on a bait station whose lure hangs, and what else is `known` of it."""
    about = {name: known.pop(name) for name in ABOUT if name in known}
    job = Job(HUNG_AT, Phase.LURING, fresh_at=HUNG_AT)
    history = replace(History("valley", "gate", Phase.LURING, job=job, place=PLACE), **about)
    since = known.pop("listening_since", HUNG_AT)
    look = Look(history, known.pop("verdict", UNJUDGED), EVENING_AT, Rule(), since)
    return Evidence(look, told, **known)


def past(kind: Any, ago: timedelta, *, acknowledged: timedelta | None = None, number: int = 7) -> PastNotice:
    """Return a notice that was raised so long ago, and perhaps acknowledged so long ago."""
    return PastNotice(kind, EVENING_AT - ago, None if acknowledged is None else EVENING_AT - acknowledged, number)


def by_hour(*visits: int, small: Sequence[int] = (), large: Sequence[int] = ()) -> tuple[Stretch, ...]:
    """Return the stretches of the last hours, so many bodies at the beginning of each."""
    number = max(len(visits), len(small), len(large))
    begin_at = EVENING_AT - number * timedelta(hours=1)

    def at(numbers: Sequence[int], n: int) -> int:
        return numbers[n // 12] if n % 12 == 0 and n // 12 < len(numbers) else 0

    return tuple(
        Stretch(begin_at + n * STRETCH, at(visits, n), at(small, n), at(large, n)) for n in range(12 * number)
    )
