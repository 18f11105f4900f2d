"""How the stations stand, read from the ledger alone: the host need not be running."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from importlib.metadata import version

from rich.console import Console
from rich.table import Column, Table
from sqlalchemy import Connection

from swapbell_host.alerting.outbox import OpenNotice, Waiting
from swapbell_host.alerting.trouble import Pulse, pulse_words, unreached_words
from swapbell_host.board import Board, Seen
from swapbell_host.books import refusals, tallybook
from swapbell_host.books.bootrows import station_holes
from swapbell_host.books.memory import Memory
from swapbell_host.books.notebook import EndedNotice
from swapbell_host.books.store import ledger_url, open_existing
from swapbell_host.books.tellingbook import Tellingbook
from swapbell_host.config import Config
from swapbell_host.intake import Station
from swapbell_host.judging.supply import short
from swapbell_host.rules import REST, verdict
from swapbell_host.standing import standing
from swapbell_models.focus import Focus, focus, focus_words
from swapbell_models.message import Health
from swapbell_models.notice import HINDRANCES, ahead_words, lapse
from swapbell_models.sitewide import SiteVerdict
from swapbell_models.tally import Hindrance


@dataclass(frozen=True, slots=True)
class StationStatus:
    """One station.

    Attributes
    ----------
    expects, due_at
        What its job expects next, for a person, and by when, aware UTC; nothing where no clock runs.
    reason
        Why nothing can be said of its traffic.
    hindrance
        What keeps the counter from counting, where that is the reason; nothing otherwise.
    visits, watched_share
        In the last five minutes that are known; nothing where nobody watched or the station is silent.
    heard_at
        When the host last had a word of it, aware UTC; nothing if never.
    missing, lost
        Tallies that the station may still send, and those that it no longer has.
    rejected, refusal
        Messages that could not be read or believed, and why the newest could not.
    ahead_s
        By how much its counts are dated ahead of this host's clock [s]; nothing if they are not.
    said, said_at
        Its last word of itself, and when it was heard, aware UTC; nothing if it never said any.
    """

    site: str
    station: str
    phase: str
    verdict: str
    reason: str
    hindrance: Hindrance | None
    visits: int | None
    watched_share: float | None
    heard_at: datetime | None
    missing: int
    lost: int
    rejected: int
    refusal: str | None
    ahead_s: float | None
    said: Health | None
    said_at: datetime | None
    expects: str | None = None
    due_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Status:
    """All stations and sites, the notices, and how many messages came from nobody known.

    Attributes
    ----------
    sites
        The verdict on each site where several stations are to be swapped, by its name.
    notices, ended
        Those open; and those of the last half day that ended by themselves.
    unreached
        The messages that somebody's address did not take yet.
    pulse
        The host's last sign of life; nothing if it never gave one.
    """

    stations: tuple[StationStatus, ...]
    sites: Mapping[str, SiteVerdict]
    notices: tuple[OpenNotice, ...]
    ended: tuple[EndedNotice, ...]
    rejected_of_strangers: int
    unreached: tuple[Waiting, ...] = ()
    pulse: Pulse | None = None


def read_status(config: Config, now: datetime) -> Status:
    """Return how everything stands at `now` (aware UTC).

    Raises
    ------
    Mistake, Breakdown
        If the ledger cannot be read; see `store.open_existing`.
    """
    with open_existing(ledger_url(config.ledger)) as store:
        memory = Memory(store, config.phases(), now, config.kept())
        tellings = Tellingbook(store)
        unreached, pulse = tuple(tellings.unreached()), tellings.pulse()
        still_open, ended = memory.notebook.open_notices(), memory.notebook.ended_notices(now - REST)
        with store.reading() as connection:
            reader = _Reader(config, memory, connection, now)
            stations = tuple(reader.station(station) for station in memory.recent)
    strangers = reader.refused.get((None, None), 0)
    return Status(stations, reader.sites(), tuple(still_open), tuple(ended), strangers, unreached, pulse)


class _Reader:
    def __init__(self, config: Config, memory: Memory, connection: Connection, now: datetime) -> None:
        self._rules, self._memory, self._connection, self._now = config.rules(memory.recent), memory, connection, now
        self._heard_at = tallybook.heard_at(connection)
        self._board = Board()
        self.refused, self._refusals = refusals.counts(connection), refusals.newest(connection)

    def station(self, station: Station) -> StationStatus:
        history = self._memory.history(*station, self._now)
        seen = Seen(history, verdict(history, self._now, self._rules[station]), self._now, self._rules[station])
        self._board.put(seen)
        shown = standing(history, seen.verdict, self._now)
        holes = station_holes(self._connection, *station)
        due = history.job and next((due for due in history.job.expects if due.by_at), None)
        return StationStatus(
            *station,
            phase=shown.phase.value,
            verdict=shown.verdict,
            reason=shown.reason,
            hindrance=shown.hindrance,
            visits=shown.visits,
            watched_share=None if shown.visits is None else shown.watched_s / self._rules[station].window_s,
            heard_at=self._last_word_at(station),
            missing=sum(hole.last - hole.first + 1 for hole in holes if not hole.lost),
            lost=sum(hole.last - hole.first + 1 for hole in holes if hole.lost),
            rejected=self.refused.get(station, 0),
            refusal=self._refusals.get(station),
            ahead_s=(history.ahead_at - self._now).total_seconds() if history.ahead_at else None,
            said=history.health,
            said_at=self._memory.healths.heard_at(station),
            expects=due.words if due else None,
            due_at=due.by_at if due else None,
        )

    def sites(self) -> Mapping[str, SiteVerdict]:
        """Return the verdict on each site of the stations read so far, as far as several are to be swapped."""
        found = {site: self._board.site(site) for site in {site: None for site, _ in self._rules}}
        return {site: whole for site, whole in found.items() if whole}

    def _last_word_at(self, station: Station) -> datetime | None:
        words_at = (self._heard_at.get(station), self._memory.healths.heard_at(station))
        return max((at for at in words_at if at), default=None)


def table(status: Status, now: datetime, width: int) -> Table:
    """Return the stations as a table for a terminal of so many columns, broken between words only."""
    whole = _table([_cells(each, now) for each in status.stations])
    if Console(width=10**4).measure(whole).maximum <= width:
        return whole
    return _table([[_broken(cell) for cell in _cells(each, now)] for each in status.stations])


def _table(rows: Iterable[Sequence[str]]) -> Table:
    heads = ("station", "phase", "says", "visits", "watched", "heard", "missing", "rejected")
    found = Table(*[Column(head, no_wrap=True) for head in heads], box=None, padding=(0, 1, 0, 0))
    found.caption = "visits and watched share of the last window; heard: its last word and the age of the newest"
    for row in rows:
        found.add_row(*row)
    return found


def _cells(each: StationStatus, now: datetime) -> list[str]:
    age = "never" if each.heard_at is None else f"{lapse(now - each.heard_at)} ago"
    return [
        f"{each.site}/{each.station}",
        each.phase,
        ": ".join(filter(None, (each.verdict, each.reason, each.hindrance and each.hindrance.value))),
        "-" if each.visits is None else str(each.visits),
        "-" if each.watched_share is None else f"{100.0 * each.watched_share:.0f} %",
        f"{each.said.state.value}, {age}" if each.said else age,
        f"{each.missing}, {each.lost} lost" if each.lost else str(each.missing),
        str(each.rejected),
    ]


def _broken(cell: str) -> str:
    """Break a cell where a reader would: after the site, the verdict, the word."""
    return cell.replace("/", "/\n").replace(": ", ":\n").replace(", ", ",\n")


def lines(status: Status, now: datetime) -> Iterator[str]:
    """Yield what stands below the table: what stations said, the notices, and what came from nobody known."""
    for each in status.stations:
        for words in _words(each):
            yield f"{each.site}/{each.station}: {words}"
    for site, whole in status.sites.items():
        yield f"{site} as a whole: {whole.words}"
    for entry in status.notices:
        yield f"notice {entry.id}, {_told(entry, now)}: {entry.notice.text}"
    for past in status.ended:
        yield f"notice {past.id} ended by itself {past.ended_at:%Y-%m-%d %H:%M} UTC: {past.notice.text}"
    yield from map(unreached_words, status.unreached)
    if status.pulse and (trouble := pulse_words(status.pulse, now)):
        yield trouble
    if status.rejected_of_strangers:
        yield f"{status.rejected_of_strangers} rejected messages came from nobody whom the configuration names"


def _told(entry: OpenNotice, now: datetime) -> str:
    shelf = f", shelved until {_utc(entry.shelved_until)}" if entry.shelved_until and entry.shelved(now) else ""
    return f"told {entry.times_told} times{shelf}"


def _utc(at: datetime) -> str:
    return f"{at:%Y-%m-%d %H:%M} UTC"


def _words(each: StationStatus) -> Iterator[str]:
    """Yield what of a station is due, or out of the ordinary."""
    if each.due_at is not None:
        yield f"by {each.due_at:%Y-%m-%d %H:%M} UTC: {each.expects}"
    if each.hindrance:
        yield f"the counter cannot count: {HINDRANCES[each.hindrance]}"
    if each.said and each.said.reason:
        yield f"it says {each.said.state.value}, because: {_printable(each.said.reason)}"
    if each.said:
        yield from short(each.said)
        yield from _off(each.said)
    if each.said and each.said.spool_dropped:
        yield f"its spool has dropped {each.said.spool_dropped} tallies"
    if each.refusal is not None:
        yield f"the newest rejection: {_printable(each.refusal)}"
    if each.ahead_s is not None:
        yield ahead_words(timedelta(seconds=each.ahead_s))


def _off(said: Health) -> Iterator[str]:
    """Yield what of a station's camera and program is not as it should be."""
    if said.sharpness is not None and focus(said.sharpness) is not Focus.SHARP:
        yield f"its view is {focus_words(said.sharpness)}; focus its camera"
    if said.version is not None and said.version != (ours := version("swapbell")):
        yield f"its program is of version {_printable(said.version)}, this host's of {ours}"
    yield from (f"it found in itself: {_printable(line)}" for line in said.checks)


def _printable(words: str) -> str:
    """Return words from elsewhere as any terminal takes them."""
    return "".join(letter if letter.isprintable() else "?" for letter in words)
