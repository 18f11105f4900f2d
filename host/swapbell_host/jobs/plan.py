"""Who and where: sites, their stations, and the people to be told. What cannot be is refused by name, in one line."""

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import Enum
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from swapbell_host.jobs.quiet import Quiet
from swapbell_models.calendar.place import Hemisphere, Place
from swapbell_models.job import Terms
from swapbell_models.phase import Phase
from swapbell_models.quantity import aware
from swapbell_models.tally import NAME_PATTERN

# Our choice: a name, a place or a kind of bait fits on a line; an observation is a page at most.
LINE_MAX_LETTERS = 200
PAGE_MAX_LETTERS = 4000
# Our choice: as much of a refused text as shows which one it is.
SHOWN_MAX_LETTERS = 40
# Control characters, and halves of characters, which no database and no page takes (Unicode's general categories).
_UNWRITABLE = {"Cc", "Cs"}
_ZONE = re.compile(r"[A-Za-z0-9+_-]+(/[A-Za-z0-9+_-]+)*")
_KEY = re.compile(r"[a-z][a-z0-9_]{0,62}")
_POSITION = re.compile(
    r"\s*([-+]?[0-9]+(?:\.[0-9]+)?)\s*°?\s*([NSns]?)[\s,;]\s*([-+]?[0-9]+(?:\.[0-9]+)?)\s*°?\s*([EWew]?)\s*"
)


class Role(Enum):
    """What a station is there for: a control never gets toxic bait, and shows what the season alone does."""

    BAIT = "bait"
    CONTROL = "control"


@dataclass(frozen=True, slots=True)
class Site:
    """A place with one owner.

    Attributes
    ----------
    zone
        Its time zone's name in the IANA database, such as Pacific/Auckland.
    owner
        Whose it is; nothing if nobody has said.
    terms
        By when each step is due there, as the label and the permit allow.
    details
        Anything else that a record asks for, by its name.
    """

    name: str
    zone: str = "UTC"
    owner: str | None = None
    terms: Terms = field(default_factory=Terms)
    details: Mapping[str, str] = field(default_factory=dict[str, str])

    def __post_init__(self) -> None:
        """Refuse what cannot be a site."""
        named("site", self.name)
        zone(self.zone)
        line("owner", self.owner)
        detailed(self.details)

    @property
    def clock(self) -> ZoneInfo:
        """The time of day there."""
        return ZoneInfo(self.zone)


@dataclass(frozen=True, slots=True)
class Station:
    """One bait container with one counter.

    Attributes
    ----------
    made_at
        When it was added, aware UTC.
    place
        Where it was planned; a log that moves it says where it is now. Nothing if nobody has said.
    bait, camera
        What lures there, and what watches.
    contact
        Who is told first, by name.
    first_phase
        Where its job stood when the log began.
    enrolled_at
        When it last got its credentials, aware UTC; nothing if it never did.
    """

    site: str
    name: str
    made_at: datetime
    role: Role = Role.BAIT
    place: Place | None = None
    bait: str | None = None
    camera: str | None = None
    contact: str | None = None
    first_phase: Phase = Phase.PLANNED
    enrolled_at: datetime | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be a station."""
        named("site", self.site)
        named("station", self.name)
        aware("made_at", self.made_at)
        for name, text in (("bait", self.bait), ("camera", self.camera), ("contact", self.contact)):
            line(name, text)

    @property
    def key(self) -> tuple[str, str]:
        """Its site and its name: what it is known by everywhere."""
        return self.site, self.name

    def __str__(self) -> str:
        return f"{self.site}/{self.name}"


@dataclass(frozen=True, slots=True)
class Contact:
    """A person to be told.

    Attributes
    ----------
    address
        Where: a URL in Apprise's form, or the name of a channel of the configuration. It may hold a password.
    second
        Who is told, by name, where this one does not answer.
    quiet
        When this one wants to hear nothing; nothing if never.
    """

    name: str
    address: str
    second: str | None = None
    quiet: Quiet | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be a contact."""
        for name, text in (("contact", self.name), ("address", self.address), ("second contact", self.second)):
            line(name, text)
        if self.name.startswith("channel "):
            raise ValueError("contact must not be named like an address of host.toml: channel ...")
        if self.second == self.name:
            raise ValueError(f"second contact of {shown(self.name)} must be another one")


def named(what: str, name: str) -> str:
    """Return a name that is one level of a topic and one part of a file's name, or refuse it."""
    if not re.fullmatch(NAME_PATTERN.strip("^$"), name):
        raise ValueError(
            f"{what} must be 1 to 63 letters A to z, digits, - or _, a letter or digit first, not {shown(name)}"
        )
    return name


def line(what: str, text: str | None, most: int = LINE_MAX_LETTERS) -> str | None:
    """Return a text of one line that any database and page takes, or refuse it."""
    if text is None:
        return None
    if not text.strip():
        raise ValueError(f"{what} must not be empty; leave it out instead")
    if len(text) > most:
        raise ValueError(f"{what} must be at most {most} letters, not the {len(text)} that begin {shown(text)}")
    if any(unicodedata.category(letter) in _UNWRITABLE for letter in text):
        raise ValueError(f"{what} must hold no control characters, but is {shown(text)}")
    return text


def page(what: str, text: str | None) -> str | None:
    """Return a text of several lines, or refuse it."""
    line(what, text and text.replace("\r\n", " ").replace("\n", " "), PAGE_MAX_LETTERS)
    return text


def detailed(details: Mapping[str, str]) -> Mapping[str, str]:
    """Return names and what is said of each, or refuse them."""
    for key, text in details.items():
        if not _KEY.fullmatch(key):
            raise ValueError(f"detail must be named by 1 to 63 of a to z, 0 to 9 and _, not {shown(key)}")
        page(key, text)
    return details


def zone(name: str) -> ZoneInfo:
    """Return a time zone by its IANA name, or refuse it."""
    try:
        if _ZONE.fullmatch(name):
            return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):  # unknown, ill-formed, or a folder of zones
        pass
    raise ValueError(f"zone must be an IANA name such as Pacific/Auckland, not {shown(name)}")


def role(word: str) -> Role:
    """Return the role of that name, or refuse it."""
    if word not in {each.value for each in Role}:
        raise ValueError(f"role must be {' or '.join(each.value for each in Role)}, not {shown(word)}")
    return Role(word)


def place(text: str) -> Place:
    """Return the place of a text such as ``42.8821 S 147.3272 E`` or ``-42.8821, 147.3272``, or refuse it."""
    found = _POSITION.fullmatch(text)
    latitude_deg, longitude_deg = (
        (_signed(found[1], found[2]), _signed(found[3], found[4])) if found else (None, None)
    )
    if latitude_deg is None or longitude_deg is None:
        raise ValueError(f"position must read like '42.8821 S 147.3272 E' or '-42.8821, 147.3272', not {shown(text)}")
    return located(latitude_deg, longitude_deg)


def located(latitude_deg: float, longitude_deg: float) -> Place:
    """Return the place of two signed numbers [degrees], or refuse them."""
    return Place(latitude_deg, longitude_deg, Hemisphere.SOUTH if latitude_deg < 0.0 else Hemisphere.NORTH)


def shown(text: str) -> str:
    """Return a text as a complaint quotes it: on one line, and not all of a long one."""
    return repr(text if len(text) <= SHOWN_MAX_LETTERS else f"{text[:SHOWN_MAX_LETTERS]}...")


def _signed(number: str, letter: str) -> float | None:
    """Return the signed number of one with a sign or with a letter; nothing with both, which may contradict."""
    if letter and number[0] in "+-":
        return None
    return -float(number) if letter.upper() in {"S", "W"} else float(number)
