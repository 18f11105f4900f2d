"""The service log of one station: what is logged, how a wrong entry is corrected, what may be logged next.

Nothing logged is ever changed. A wrong entry is corrected by a new one that points to it and takes its place; one of
something that never happened is struck out in the same way. Both stay visible; the job is read from what stands.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from enum import Enum
from pathlib import PurePath

from swapbell_host.jobs.plan import Role, Station, detailed, line, page, shown
from swapbell_models.calendar.place import Place
from swapbell_models.job import DOSED, Due, Job, Terms
from swapbell_models.phase import Event, Phase
from swapbell_models.quantity import aware, within

# Our choice: no station holds more than this; who typed more meant milligrams.
MASS_MAX_G = 10_000.0
# Our choice: two clocks may differ by a minute; what is further ahead has not happened yet.
AHEAD_MAX = timedelta(minutes=1)


class Act(Enum):
    """What a person logs: the events that move a job, and what is noted beside them."""

    LURED = "lured"
    REFRESHED = "refreshed"
    MOVED = "moved"
    SWAPPED = "swapped"
    WITHDRAWN = "withdrawn"
    LOST = "lost"
    REBAITED = "rebaited"
    DISPOSED = "disposed"
    RELURED = "relured"
    CLOSED = "closed"
    GIVEN_UP = "given up"
    WEIGHED_OUT = "weighed out"
    WEIGHED_BACK = "weighed back"
    SEEN = "seen"
    STRUCK_OUT = "struck out"


EVENTS: Mapping[Act, Event] = {act: Event(act.value) for act in Act if act.value in {event.value for event in Event}}
_TOXIC_OUT = frozenset({Phase.TOXIC, Phase.OVERDUE})


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """What somebody wants to log.

    Attributes
    ----------
    at, by
        When it happened, aware UTC, and who did it.
    mass_g
        Of the bait [g]: weighed out for a swap, weighed back at a withdrawal, disposed of at a disposal. Nothing if
        it was not weighed.
    weather, non_targets, incident, note
        In the person's own words; nothing if nobody said, which is not "none".
    photo
        The file's name in the photo store.
    place
        Where a moved station hangs now; nothing if nobody has said.
    details
        Anything else that a record asks for, by its name.
    corrects
        The number of the entry whose place this one takes.
    """

    site: str
    station: str
    act: Act
    at: datetime
    by: str
    mass_g: float | None = None
    weather: str | None = None
    non_targets: str | None = None
    incident: str | None = None
    note: str | None = None
    photo: str | None = None
    place: Place | None = None
    details: Mapping[str, str] = field(default_factory=dict[str, str])
    corrects: int | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be logged of any station."""
        aware("at", self.at)
        line("by", self.by)
        if self.mass_g is not None:
            within("mass", self.mass_g, 0.0, MASS_MAX_G, "g")
        for name in ("weather", "non_targets", "incident", "note"):
            page(name, getattr(self, name))
        if self.photo is not None and (self.photo != PurePath(self.photo).name or self.photo.startswith(".")):
            raise ValueError("photo must be a name in the photo store")
        if self.place is not None and self.act is not Act.MOVED:
            raise ValueError(f"a position belongs to 'moved', not to {self.act.value!r}")
        if self.act is Act.STRUCK_OUT and self.corrects is None:
            raise ValueError("'struck out' needs the number of the entry that it corrects")
        detailed(self.details)


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry(Draft):
    """What was logged.

    Attributes
    ----------
    id
        Its number in the ledger.
    logged_at
        When it was written down, aware UTC.
    """

    id: int
    logged_at: datetime


def act(word: str) -> Act:
    """Return the act of a word, or refuse it; `weighed-out` is `weighed out`."""
    plain = word.strip().lower().replace("-", " ").replace("_", " ")
    if plain not in {each.value for each in Act}:
        raise ValueError(
            f"{shown(word)} is nothing that is logged; choose from: {', '.join(each.value for each in Act)}"
        )
    return Act(plain)


def blank(
    site: str, station: str, kind: Act, by: str, now: datetime, corrects: int | None, known: Mapping[int, Entry]
) -> Draft:
    """Return a draft to be filled in: of now, or with what the entry said that it corrects.

    Parameters
    ----------
    kind, by, now
        What is logged, who did it, and the time, aware UTC.
    corrects : int or None
        The number of the entry whose place it takes.
    known : mapping of int to Entry
        What was logged of the station.
    """
    empty = Draft(site=site, station=station, act=kind, at=now, by=by, corrects=corrects)
    before = known.get(corrects) if corrects is not None else None
    if before is None:
        return empty
    if kind is Act.STRUCK_OUT:
        return replace(empty, at=before.at)
    return replace(
        empty,
        at=before.at,
        mass_g=before.mass_g,
        weather=before.weather,
        non_targets=before.non_targets,
        incident=before.incident,
        note=before.note,
        photo=before.photo,
        place=before.place if kind is Act.MOVED else None,
        details=before.details,
    )


def standing(entries: Iterable[Entry]) -> list[Entry]:
    """Return the entries that stand, in the order in which it all happened: neither corrected nor struck out."""
    logged = list(entries)
    firsts = _firsts(logged)
    corrected = {entry.corrects for entry in logged}
    stand = [entry for entry in logged if entry.id not in corrected and entry.act is not Act.STRUCK_OUT]
    return sorted(stand, key=lambda entry: (entry.at, firsts[entry.id]))


def start(station: Station, terms: Terms, entries: Sequence[Entry] = ()) -> Job:
    """Return the job as it stood before its log began."""
    return Job(min([station.made_at, *(entry.at for entry in entries)]), station.first_phase, terms=terms)


def replay(station: Station, terms: Terms, entries: Iterable[Entry]) -> Job:
    """Return the job as the log tells it, at the moment of its last entry; `Job.at` brings it up to date.

    Raises
    ------
    ValueError
        If an entry could not have happened; the message says which, and what was legal.
    """
    stand = standing(entries)
    job = start(station, terms, stand)
    for entry in stand:
        job = _after(job, entry, station.role)
    return job


def legal(job: Job, role: Role) -> tuple[Act, ...]:
    """Return what may be logged now, the events first; a control station never gets toxic bait."""
    moves = [Act(event.value) for event in job.legal if role is not Role.CONTROL or event not in DOSED]
    weighs_out = job.phase in _TOXIC_OUT or bool({Act.SWAPPED, Act.REBAITED} & set(moves))
    notes = {Act.WEIGHED_OUT: weighs_out, Act.WEIGHED_BACK: job.swapped_at is not None, Act.SEEN: True}
    return (*moves, *(act for act, may in notes.items() if may))


def expected(job: Job, role: Role) -> tuple[Due, ...]:
    """Return what comes next, the most pressing first; a control station is never swapped."""
    return tuple(due for due in job.expects if role is not Role.CONTROL or due.event not in DOSED)


def admit(station: Station, terms: Terms, entries: Sequence[Entry], entry: Entry) -> Job:
    """Return the job with one entry more, at the moment of its last entry.

    Parameters
    ----------
    station, terms, entries
        The station, by when things are due there, and all that was logged of it.
    entry : Entry
        What is to be logged, with the number that it will have.

    Raises
    ------
    ValueError
        If it cannot be logged: the message says why, and what is legal.
    """
    if entry.at > entry.logged_at + AHEAD_MAX:
        raise ValueError(f"{entry.act.value!r} at {_when(entry.at)} lies ahead of now, {_when(entry.logged_at)}")
    if entry.corrects is not None:
        _correctable(entry.corrects, entries)
    return replay(station, terms, [*entries, entry])


def place_of(station: Station, entries: Iterable[Entry]) -> Place | None:
    """Return where a station hangs by its plan and its log; nothing if nobody has said."""
    places = [entry.place for entry in standing(entries) if entry.act is Act.MOVED]
    return places[-1] if places else station.place


def _after(job: Job, entry: Entry, role: Role) -> Job:
    now = job.at(entry.at)
    choice = legal(now, role)
    if entry.act not in choice:
        hand = " with toxic bait in hand" if now.in_hand else ""
        control = " as a control station" if role is Role.CONTROL else ""
        raise ValueError(
            f"{entry.act.value!r} at {_when(entry.at)} is not legal while {now.phase.value}{hand}{control}; "
            f"legal then: {', '.join(act.value for act in choice)}"
        )
    event = EVENTS.get(entry.act)
    return job if event is None else job.after(event, entry.at)


def _correctable(number: int, entries: Iterable[Entry]) -> None:
    """Refuse to correct what is not there, or what was corrected before."""
    known = {entry.id for entry in entries}
    if number not in known:
        raise ValueError(f"entry {number} is not one of this station's; they are: {_numbers(known)}")
    later = [entry.id for entry in entries if entry.corrects == number]
    if later:
        raise ValueError(f"entry {number} was corrected by entry {later[0]}; correct that one")


def _firsts(entries: Iterable[Entry]) -> dict[int, int]:
    """Return, of each entry, the first one of its chain of corrections: whose place it takes among equal moments."""
    firsts: dict[int, int] = {}
    for entry in sorted(entries, key=lambda entry: entry.id):
        firsts[entry.id] = entry.id if entry.corrects is None else firsts[entry.corrects]
    return firsts


def _numbers(known: Iterable[int]) -> str:
    return ", ".join(str(number) for number in sorted(known)) or "none"


def _when(at: datetime) -> str:
    return f"{at:%Y-%m-%d %H:%M} UTC"
