"""One application: toxic bait at one station, from the day it was put out until the rest of it was disposed of."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from zoneinfo import ZoneInfo

from swapbell_host.jobs.entry import Act, Entry, standing
from swapbell_host.jobs.moment import local

_BEGINS = frozenset({Act.SWAPPED, Act.REBAITED})
_OUTCOME = frozenset({Act.WITHDRAWN, Act.LOST})
# What is said in an entry, for telling what a correction changed.
_SAID = ("act", "at", "by", "mass_g", "weather", "non_targets", "incident", "note", "photo", "place", "details")


@dataclass(frozen=True, slots=True)
class Application:
    """What stands in the log of one application.

    Attributes
    ----------
    entries
        All of it, in the order in which it happened: what was weighed out before, the swap, what was seen, ...
    swap
        The entry by which the toxic bait was put out.
    outcome
        The entry by which it was taken in, or lost; nothing while it is out.
    disposed
        The entry by which the rest was disposed of; nothing while it is not.
    """

    entries: tuple[Entry, ...]
    swap: Entry
    outcome: Entry | None = None
    disposed: Entry | None = None

    @property
    def number(self) -> str:
        """What its record is known by: the site, the station and the number of the entry."""
        return f"{self.swap.site}/{self.swap.station}/{self.swap.id}"

    @property
    def out_at(self) -> datetime:
        """When the toxic bait was put out, aware UTC."""
        return self.swap.at

    @property
    def in_at(self) -> datetime | None:
        """When it was taken in, aware UTC; nothing while it is out or where it was lost."""
        return self.outcome.at if self.outcome and self.outcome.act is Act.WITHDRAWN else None

    @property
    def is_lost(self) -> bool:
        """Whether nobody found it."""
        return self.outcome is not None and self.outcome.act is Act.LOST

    def is_out(self, at: datetime) -> bool:
        """Tell whether its bait was out at a moment."""
        return self.out_at <= at and (self.outcome is None or at < self.outcome.at)

    def spans(self, at: datetime) -> bool:
        """Tell whether a moment lies between the first and the last of its entries; it may still go on."""
        ended = self.disposed or (self.outcome if self.in_at is None else None)
        return self.entries[0].at <= at and (ended is None or at <= ended.at)

    def mass(self, event: Entry | None, weighed: Act) -> tuple[float, Entry] | None:
        """Return a mass [g] and the entry that says it: the event's own, or else what was weighed beside it."""
        beside = [each for each in self.entries if each.act is weighed]
        told = [each for each in (event, *beside) if each is not None and each.mass_g is not None]
        return (told[0].mass_g or 0.0, told[0]) if told else None

    def detail(self, key: str) -> tuple[str, Entry] | None:
        """Return what one of its entries says of a detail, the swap before the others, and which entry."""
        for entry in (self.swap, *self.entries):
            if text := entry.details.get(key):
                return text, entry
        return None


def applications(entries: Iterable[Entry]) -> tuple[Application, ...]:
    """Return the applications of a station, oldest first, by what stands in its log."""
    found = list[Application]()
    before = list[Entry]()
    for entry in standing(entries):
        if entry.act in _BEGINS:
            found.append(Application((*before, entry), entry))
            before = []
        elif entry.act is Act.WEIGHED_OUT:
            before.append(entry)
        elif found:
            found = [*found[:-1], _after(found[-1], entry)]
            found = [_disposed(each, entry) for each in found]
    return tuple(found)


def _after(last: Application, entry: Entry) -> Application:
    """Return the latest application with what was logged next, where it is about that."""
    if entry.act in _OUTCOME:
        return replace(last, entries=(*last.entries, entry), outcome=entry)
    if entry.act is Act.WEIGHED_BACK or (entry.act is Act.SEEN and last.outcome is None):
        return replace(last, entries=(*last.entries, entry))
    return last


def _disposed(each: Application, entry: Entry) -> Application:
    """Return an application with its disposal: what is in hand of several is disposed of together."""
    if entry.act is not Act.DISPOSED or each.in_at is None or each.disposed is not None:
        return each
    return replace(each, entries=(*each.entries, entry), disposed=entry)


def corrections(made: Application, every: Sequence[Entry], zone: ZoneInfo) -> Iterator[str]:
    """Yield what was corrected in an application: which entry stands, which one it replaced, what that one said.

    Parameters
    ----------
    made : Application
        What stands.
    every : sequence of Entry
        All that was ever logged of the station.
    zone : ZoneInfo
        The clock of the place.
    """
    known = {each.id: each for each in every}
    for entry in made.entries:
        later = entry
        while later.corrects is not None and later.corrects in known:
            before = known[later.corrects]
            yield _changed(later, before, zone)
            later = before
    for each in every:
        struck = known.get(each.corrects) if each.corrects is not None and each.act is Act.STRUCK_OUT else None
        if struck is not None and made.spans(struck.at):
            yield _struck(each, struck, zone)


def _changed(after: Entry, before: Entry, zone: ZoneInfo) -> str:
    written = f"entry {after.id}, written {local(after.logged_at, zone)} by {after.by}"
    old = [_said(name, before, zone) for name in _SAID if getattr(before, name) != getattr(after, name)]
    return f"{written}, stands in the place of entry {before.id}, which said: {'; '.join(old) or 'the same'}"


def _struck(after: Entry, before: Entry, zone: ZoneInfo) -> str:
    said = f"entry {before.id}, {before.act.value} {local(before.at, zone)}"
    return f"{said}, was struck out by entry {after.id}, written {local(after.logged_at, zone)} by {after.by}"


def _said(name: str, entry: Entry, zone: ZoneInfo) -> str:
    value = getattr(entry, name)
    if name == "at":
        return local(entry.at, zone)
    if name == "act":
        return entry.act.value
    if name == "mass_g":
        return "not weighed" if value is None else f"{value:g} g"
    if name == "details":
        return ", ".join(f"{key} {text}" for key, text in entry.details.items()) or "no details"
    return f"{name.replace('_', '-')} {'not said' if value is None else value}"
