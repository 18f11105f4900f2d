"""The wire: topics, the messages that travel on them, and how they are read and written.

MQTT 3.1.1 topics `swapbell/1/{site}/{station}/{subject}`, UTF-8 JSON. Readers ignore fields that they do not know, so
that a newer writer of the same version is understood. Whatever cannot be read raises `MalformedMessage`, whose text
is kept beside the payload by whoever received it.
"""

import re
from enum import Enum
from typing import Annotated, NamedTuple, TypeVar

import msgspec
from msgspec import Meta

from swapbell_models.evidence import Answer, Question
from swapbell_models.phase import Phase
from swapbell_models.tally import AwareDatetime, Hindrance, Name, Seconds, Tally

VERSION = 1
ROOT = f"swapbell/{VERSION}"
# Our choice: a busy hour's crossings take about 60 KiB; anything far beyond is not a message of ours.
PAYLOAD_MAX_BYTES = 256 * 1024

Count = Annotated[int, Meta(ge=0)]
Wire = TypeVar("Wire", bound=msgspec.Struct)


class MalformedMessage(ValueError):
    """What arrived is not a message of this version; the text says why."""


class Subject(Enum):
    """The last level of a topic: what kind of message travels on it."""

    TALLY = "tally"
    RECEIPT = "receipt"
    HEALTH = "health"
    STANDING = "standing"
    NOTICE = "notice"
    QUESTION = "question"
    ANSWER = "answer"


class Address(NamedTuple):
    """Whose topic it is, and what travels on it."""

    site: str
    station: str
    subject: Subject


class Receipt(msgspec.Struct, frozen=True, kw_only=True):
    """Host to device: all tallies of `boot` up to `through` are durably in the ledger."""

    v: Annotated[int, Meta(ge=1, le=1)] = 1
    boot: Name
    through: Count


class Held(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What the spool still holds of a boot that the host has not receipted whole.

    Attributes
    ----------
    seq
        The oldest tally that it holds: what is missing below it will never come. If it holds none, `last` + 1.
    last
        The newest tally that was ever put: what is missing up to it is a hole.
    """

    boot: Name
    seq: Count
    last: Count | None = None


class StationState(Enum):
    """What a station says of itself."""

    WATCHING = "watching"
    BLIND = "blind"
    ASLEEP = "asleep"
    STOPPED = "stopped"
    LOST = "lost"


class Health(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Device to host, retained; the last will says `lost`. An absent field is unknown, never zero.

    Units by SenML (RFC 8428): `temperature_c` [Cel], `*_bytes` [B], `*_s` [s], `fps` [Hz], `battery_percent` [%EL],
    `battery_v` [V]. `sharpness` is how many edges lie side by side across a worker's body (`focus`) at the newest
    look, `version` that of the counter's program; `checks` says what the station's own daily look at itself found
    amiss, a line each.
    """

    v: Annotated[int, Meta(ge=1, le=1)] = 1
    station: Name
    state: StationState
    at: AwareDatetime | None = None
    reason: str | None = None
    fps: float | None = None
    dropped_frames: Count | None = None
    temperature_c: float | None = None
    battery_percent: Annotated[float, Meta(ge=0.0, le=100.0)] | None = None
    battery_v: Annotated[float, Meta(ge=0.0)] | None = None
    disk_free_bytes: Count | None = None
    spool_tallies: Count | None = None
    spool_dropped: Count | None = None
    exposure_s: Seconds | None = None
    sharpness: Annotated[float, Meta(gt=0.0)] | None = None
    version: Annotated[str, Meta(max_length=64)] | None = None
    checks: tuple[str, ...] = ()
    oldest: tuple[Held, ...] = ()


class Standing(msgspec.Struct, frozen=True, kw_only=True):
    """Host to anyone, retained: where a station stands, for dashboards and home automation.

    `visits` is null where nobody knows them; `hindrance` is what blinds the counter, where that is the reason.
    """

    v: Annotated[int, Meta(ge=1, le=1)] = 1
    station: Name
    at: AwareDatetime
    phase: Phase
    verdict: str
    reason: str
    visits: Count | None
    watched_s: Seconds
    hindrance: Hindrance | None = None


class NoticeMessage(msgspec.Struct, frozen=True, kw_only=True):
    """Host to anyone: a notice as it was told."""

    v: Annotated[int, Meta(ge=1, le=1)] = 1
    id: Count
    station: Name
    kind: str
    urgency: str
    raised_at: AwareDatetime
    told_at: AwareDatetime
    times_told: Count
    text: str


MESSAGES: dict[Subject, type[msgspec.Struct]] = {
    Subject.TALLY: Tally,
    Subject.RECEIPT: Receipt,
    Subject.HEALTH: Health,
    Subject.STANDING: Standing,
    Subject.NOTICE: NoticeMessage,
    Subject.QUESTION: Question,
    Subject.ANSWER: Answer,
}


def topic(site: str, station: str, subject: Subject) -> str:
    """Return the topic of a station's subject."""
    return f"{ROOT}/{site}/{station}/{subject.value}"


_TOPIC = re.compile(rf"{ROOT}/([A-Za-z0-9][\w-]*)/([A-Za-z0-9][\w-]*)/([a-z]+)", re.ASCII)


def address(name: str) -> Address:
    """Return whose topic `name` is.

    Raises
    ------
    MalformedMessage
        If it is not a topic of this version.
    """
    parts = _TOPIC.fullmatch(name)
    if parts is None or parts[3] not in {subject.value for subject in Subject}:
        raise MalformedMessage(f"topic {name!r} is not {ROOT}/SITE/STATION/SUBJECT")
    return Address(parts[1], parts[2], Subject(parts[3]))


def encode(message: msgspec.Struct) -> bytes:
    """Return the message as UTF-8 JSON."""
    return msgspec.json.encode(message)


_DECODERS = {kind: msgspec.json.Decoder(kind) for kind in MESSAGES.values()}


def decode(payload: bytes | bytearray, kind: type[Wire]) -> Wire:
    """Read a message of one kind.

    Parameters
    ----------
    payload : bytes or bytearray
        UTF-8 JSON, at most `PAYLOAD_MAX_BYTES` long.
    kind : type
        One of the structs in `MESSAGES`.

    Raises
    ------
    MalformedMessage
        If the payload is too long, not UTF-8, not JSON, of another version, or does not hold what its kind must.
    """
    if len(payload) > PAYLOAD_MAX_BYTES:
        raise MalformedMessage(f"payload of {len(payload)} bytes, at most {PAYLOAD_MAX_BYTES} are read")
    try:
        message = _DECODERS[kind].decode(payload)
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise MalformedMessage(_reason(payload, error)) from error
    assert isinstance(message, kind)
    return message


class _Versioned(msgspec.Struct):
    v: int


def _reason(payload: bytes | bytearray, error: Exception) -> str:
    try:
        version = msgspec.json.decode(payload, type=_Versioned).v
    except (msgspec.DecodeError, UnicodeDecodeError):
        return str(error)
    return str(error) if version == VERSION else f"version {version}, this program reads version {VERSION}"


def schema() -> dict[str, object]:
    """Return the JSON Schema of every message, one definition each."""
    _, definitions = msgspec.json.schema_components(MESSAGES.values(), ref_template="#/$defs/{name}")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "$defs": definitions}
