"""A word to a person: what it is about, how urgent it is, and how often it is repeated."""

from dataclasses import dataclass
from datetime import datetime
from enum import Enum


class NoticeKind(Enum):
    """What a notice is about."""

    TOUCHED = "touched"
    READY = "ready"
    SILENT = "silent"


class Urgency(Enum):
    """How much a notice asks of the person."""

    LOOK = "look"
    ACT = "act"


@dataclass(frozen=True, slots=True)
class Notice:
    """One thing that a person should hear about one station.

    Attributes
    ----------
    site, station, kind
        What it is about; together with `raised_at` they name it.
    raised_at
        The moment of the evidence, aware UTC.
    text
        One plain sentence with the evidence, ready to be read on a phone.
    """

    site: str
    station: str
    kind: NoticeKind
    urgency: Urgency
    raised_at: datetime
    text: str
