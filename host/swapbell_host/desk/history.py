"""A station's service log as it is shown: every entry, what became of it, and where the job stands."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime

from swapbell_host.desk.opening import Desk
from swapbell_host.jobs.entry import Entry, expected, legal
from swapbell_host.jobs.moment import local

# What a person wrote, in the order of a service card.
REMARKS = ("weather", "non_targets", "incident", "note", "photo")


@dataclass(frozen=True, slots=True)
class Shown:
    """One entry.

    Attributes
    ----------
    at, logged_at
        When it happened and when it was written down, aware UTC; `local` is the first by the site's clock.
    corrects, corrected_by
        The entry whose place it takes, and the one that takes its place, by their numbers; nothing if none does.
    """

    id: int
    act: str
    at: datetime
    local: str
    by: str
    logged_at: datetime
    mass_g: float | None
    weather: str | None
    non_targets: str | None
    incident: str | None
    note: str | None
    photo: str | None
    latitude_deg: float | None
    longitude_deg: float | None
    details: Mapping[str, str]
    corrects: int | None
    corrected_by: int | None

    @property
    def words(self) -> str:
        """The entry for a person."""
        mass = f", {self.mass_g:g} g" if self.mass_g is not None else ""
        said = [f"{name.replace('_', '-')}: {text}" for name in REMARKS if (text := getattr(self, name))]
        said += [f"{name}: {text}" for name, text in self.details.items()]
        corrects = f" instead of entry {self.corrects}" if self.corrects is not None else ""
        corrected = f" [corrected by entry {self.corrected_by}]" if self.corrected_by is not None else ""
        remarks = "".join(f"; {' '.join(each.split())}" for each in said)
        return f"{self.id}: {self.local} {self.act}{corrects} by {self.by}{mass}{remarks}{corrected}"


@dataclass(frozen=True, slots=True)
class Expected:
    """One thing that the job expects next, and by when, aware UTC."""

    act: str
    by_at: datetime | None
    local: str | None
    words: str


@dataclass(frozen=True, slots=True)
class History:
    """All that was logged of a station, and where its job stands."""

    site: str
    station: str
    phase: str
    entries: tuple[Shown, ...]
    legal: tuple[str, ...]
    expects: tuple[Expected, ...]

    def lines(self) -> Iterator[str]:
        """Yield the history for a person."""
        yield from (each.words for each in self.entries)
        yield f"{self.site}/{self.station}: {self.phase}"
        for each in self.expects:
            yield f"next{f' by {each.local}' if each.local else ''}: {each.words}"
        yield f"legal now: {', '.join(self.legal)}"


def read(desk: Desk, site: str, station: str) -> History:
    """Return the history of a station.

    Raises
    ------
    Mistake
        If there is no such station.
    """
    plan = desk.plan.station(site, station)
    zone, job = desk.plan.site(site).clock, desk.book.job(site, station, desk.now)
    logged = desk.book.entries(site, station, desk.now)
    later = {each.corrects: each.id for each in logged}
    entries = tuple(_shown(each, local(each.at, zone), later.get(each.id)) for each in logged)
    expects = tuple(
        Expected(due.event.value, due.by_at, local(due.by_at, zone) if due.by_at else None, due.words)
        for due in expected(job, plan.role)
    )
    return History(
        site, station, job.phase.value, entries, tuple(act.value for act in legal(job, plan.role)), expects
    )


def answer(desk: Desk, entry: Entry) -> str:
    """Return what somebody is told who has just logged something."""
    found = read(desk, entry.site, entry.station)
    mine = next(each for each in found.entries if each.id == entry.id)
    due = [f"next{f' by {each.local}' if each.local else ''}: {each.words}" for each in found.expects]
    return "\n".join([f"entry {mine.words}", f"{found.site}/{found.station}: now {found.phase}", *due])


def _shown(entry: Entry, shown_at: str, corrected_by: int | None) -> Shown:
    return Shown(
        id=entry.id,
        act=entry.act.value,
        at=entry.at,
        local=shown_at,
        by=entry.by,
        logged_at=entry.logged_at,
        mass_g=entry.mass_g,
        weather=entry.weather,
        non_targets=entry.non_targets,
        incident=entry.incident,
        note=entry.note,
        photo=entry.photo,
        latitude_deg=entry.place.latitude_deg if entry.place else None,
        longitude_deg=entry.place.longitude_deg if entry.place else None,
        details=entry.details,
        corrects=entry.corrects,
        corrected_by=corrected_by,
    )
