"""In which phase a station stood, and when: its log read as a course of time."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime

from swapbell_host.jobs.entry import EVENTS, Entry, standing, start
from swapbell_host.jobs.plan import Station
from swapbell_models.job import Job, Terms
from swapbell_models.phase import Event, Phase


@dataclass(frozen=True, slots=True)
class Stage:
    """A stretch of time, aware UTC, in which a station stood in one phase."""

    phase: Phase
    from_at: datetime
    to_at: datetime


def stages(station: Station, terms: Terms, entries: Iterable[Entry], now: datetime) -> list[Stage]:
    """Return the phases that a station went through up to `now` (aware UTC), in time order, by what stands logged."""
    stand = standing(entries)
    job = start(station, terms, stand)
    turns = [(job.logged_at, job.phase)]
    for entry in (entry for entry in stand if entry.act in EVENTS):
        turns += _deadline(job, entry.at)
        job = job.after(EVENTS[entry.act], entry.at)
        turns.append((entry.at, job.phase))
    return _joined([*turns, *_deadline(job, now)], max(now, job.logged_at))


def _deadline(job: Job, at: datetime) -> list[tuple[datetime, Phase]]:
    """Return the turn that the clock alone brings before `at`; nothing if it brings none."""
    late = job.at(max(at, job.logged_at))
    by_at = next((due.by_at for due in late.expects if due.event is Event.WITHDRAWN), None)
    return [(by_at, late.phase)] if late.phase is not job.phase and by_at is not None else []


def _joined(turns: list[tuple[datetime, Phase]], now: datetime) -> list[Stage]:
    ends = [at for at, _ in turns[1:]] + [now]
    found = list[Stage]()
    for (from_at, phase), to_at in zip(turns, ends, strict=True):
        if found and found[-1].phase is phase:
            found[-1] = replace(found[-1], to_at=to_at)
        elif to_at > from_at:
            found.append(Stage(phase, from_at, to_at))
    return found
