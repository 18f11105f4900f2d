"""What arrived, read and sorted: tallies, healths, and what is rejected with the reason.

Whatever is rejected is kept. If it was kept whole and names its tally, a receipt covers it: the station need not keep
what the host has. Stations that the configuration does not name get no receipt, so that a forgotten line there costs
nothing: the station holds its tallies until somebody adds it.
"""

from collections.abc import Iterable, Set
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import NamedTuple

import msgspec

from swapbell_models.message import (
    PAYLOAD_MAX_BYTES,
    Health,
    MalformedMessage,
    Subject,
    address,
    decode,
    topic,
)
from swapbell_models.tally import Clock, Name, Tally

# Our choice: the wire is younger than this; a clock that says less was never set.
PAST_MIN_AT = datetime(2025, 1, 1, tzinfo=UTC)
# Our choice: no counter lives to see it. Of what comes before, nobody can say whether the counter's clock is ahead or
# ours behind: it is kept, and judged when its time has come.
TO_COME_MAX_AT = datetime(2200, 1, 1, tzinfo=UTC)
# Our choice: a counter that runs for longer than ten years has other troubles; it also keeps sums of times in range.
UP_MAX_S = 10 * 366 * 86_400.0
# What a 32-bit column holds; at one tally each 15 s it lasts a thousand years.
SEQ_MAX = 2**31 - 1
# Our choice: half a year at a tally each 15 s, more than a spool holds. Who claims to be further ahead of all that
# came is not believed, or one false word would make two thousand millions missing.
CLAIM_MAX = 1_000_000
# Our choice: all that can be a message is kept whole, the rest is a sample of what somebody sent.
KEPT_MAX_BYTES = PAYLOAD_MAX_BYTES
SAMPLE_BYTES = 1024
REASON_MAX_LETTERS = 500

# Who: site and station; and which start of whose counter: site, station, boot.
Station = tuple[str, str]
BootName = tuple[str, str, str]


class Arrival(msgspec.Struct, frozen=True, gc=False):
    """One message as the broker delivered it.

    Attributes
    ----------
    retained
        Whether it may be old news.
    mid
        The number to acknowledge it by on its connection; 0 if it wants no acknowledgement.
    """

    topic: str
    payload: bytes
    retained: bool = False
    mid: int = 0


class Claim(msgspec.Struct, frozen=True):
    """Which tally a payload says that it is, where at least that can be read."""

    boot: Name
    seq: int


@dataclass(frozen=True, slots=True)
class Rejection:
    """A payload that could not be read or believed, and why; `claim` is set where a receipt may cover it."""

    arrival: Arrival
    reason: str
    station: Station | None = None
    claim: Claim | None = None

    @property
    def kept(self) -> bytes:
        """Return what is kept of the payload: all of it, or a sample of what is too long to be a message."""
        payload = self.arrival.payload
        return payload if len(payload) <= KEPT_MAX_BYTES else payload[:SAMPLE_BYTES]


class Told(NamedTuple):
    """What a station said of itself."""

    site: str
    health: Health
    retained: bool

    @property
    def station(self) -> Station:
        """Return who said it."""
        return self.site, self.health.station


class Read(msgspec.Struct, frozen=True, gc=False):
    """A tally, whose it is, and the message that it was read from."""

    station: Station
    boot: BootName
    tally: Tally
    arrival: Arrival


@dataclass(slots=True)
class Sorted:
    """A batch by what it holds."""

    tallies: list[Read] = field(default_factory=list[Read])
    healths: list[Told] = field(default_factory=list[Told])
    rejections: list[Rejection] = field(default_factory=list[Rejection])


class _Known(NamedTuple):
    station: Station
    subject: Subject


class Intake:
    """Reads what arrives from the stations that it knows.

    Parameters
    ----------
    stations : iterable of (site, station)
        The stations that the configuration names.
    """

    def __init__(self, stations: Iterable[Station]) -> None:
        self._stations: Set[Station] = set(stations)
        self._known = {
            topic(*station, subject): _Known(station, subject)
            for station in self._stations
            for subject in (Subject.TALLY, Subject.HEALTH)
        }

    def sort(self, batch: Iterable[Arrival]) -> Sorted:
        """Read a batch, in the order in which it came."""
        found = Sorted()
        for arrival in batch:
            try:
                self._read(arrival, found)
            except MalformedMessage as error:
                found.rejections.append(self._reject(arrival, str(error)))
        return found

    def _read(self, arrival: Arrival, found: Sorted) -> None:
        known = self._known.get(arrival.topic)
        if known is None:
            raise MalformedMessage(self._stranger(arrival.topic))
        if known.subject is Subject.TALLY:
            tally = _credible(decode(arrival.payload, Tally), known)
            found.tallies.append(Read(known.station, (*known.station, tally.boot), tally, arrival))
        else:
            health = _spoken(decode(arrival.payload, Health), known)
            found.healths.append(Told(known.station[0], health, arrival.retained))

    def _stranger(self, name: str) -> str:
        site, station, subject = address(name)
        if (site, station) not in self._stations:
            return f"station {site}/{station} is not in the configuration"
        return f"a host does not read the subject {subject.value!r}"

    def _reject(self, arrival: Arrival, words: str) -> Rejection:
        reason = words[:REASON_MAX_LETTERS]  # it may quote a stranger, at any length
        known = self._known.get(arrival.topic)
        if known is None:
            return Rejection(arrival, reason)
        claim = _claim(arrival.payload) if known.subject is Subject.TALLY else None
        return Rejection(arrival, reason, known.station, claim)


def _credible(tally: Tally, known: _Known) -> Tally:
    _own(tally.station, known)
    if tally.seq > SEQ_MAX or tally.up_s > UP_MAX_S:
        raise MalformedMessage(f"seq {tally.seq} or up_s {tally.up_s} is beyond what a counter can reach")
    if tally.clock is Clock.SYNCED:
        _check_clock(tally.from_at)
    return tally


def _spoken(health: Health, known: _Known) -> Health:
    _own(health.station, known)
    if any(max(held.seq, held.last or 0) > SEQ_MAX for held in health.oldest):
        raise MalformedMessage(f"oldest names a seq beyond {SEQ_MAX}, what a counter can reach")
    return health


def _check_clock(from_at: datetime) -> None:
    if from_at > TO_COME_MAX_AT:
        raise MalformedMessage(f"from {from_at.isoformat()} is beyond the life of any counter")
    if from_at < PAST_MIN_AT:
        raise MalformedMessage(f"from {from_at.isoformat()} is too long ago for a clock that calls itself synced")


def _own(station: str, known: _Known) -> None:
    if station != known.station[1]:
        raise MalformedMessage(f"the topic names station {known.station[1]!r}, the payload {station!r}")


def _claim(payload: bytes) -> Claim | None:
    if len(payload) > KEPT_MAX_BYTES:
        return None
    try:
        claim = msgspec.json.decode(payload, type=Claim)
    except (msgspec.DecodeError, UnicodeDecodeError):
        return None
    return claim if 0 <= claim.seq <= SEQ_MAX else None
