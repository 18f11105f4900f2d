"""What a counter reports for one short interval: its crossings, and how many seconds it really watched.

Crossings and tallies travel as they are: these structs are the wire's and everyone's. They hold plain values and so
never form cycles: ``gc=False`` spares a host with thousands of stations a third of its work.
"""

from datetime import datetime, timedelta
from enum import Enum
from typing import Annotated

import msgspec
from msgspec import UNSET, Meta, UnsetType

from swapbell_models.sizes import SizeClass

# A name is one level of an MQTT topic and one part of a file name.
NAME_PATTERN = r"^[A-Za-z0-9][A-Za-z0-9_-]{0,62}$"
Name = Annotated[str, Meta(pattern=NAME_PATTERN, description="A site's, a station's or a boot's name.")]
Seconds = Annotated[float, Meta(ge=0.0)]
GreyLevels = Annotated[float, Meta(ge=0.0, le=255.0)]
Share = Annotated[float, Meta(ge=0.0, le=1.0)]
AwareDatetime = Annotated[datetime, Meta(tz=True)]

# Our choice: frame times are rounded on their way; a hundredth of a second is far below a visit.
ROUNDING_S = 0.01


class Direction(Enum):
    """Which way a body passed the gate line."""

    IN = "in"
    OUT = "out"


class Clock(Enum):
    """Whether the counter knew the time of day when it counted."""

    SYNCED = "synced"
    FREE = "free"


class Hindrance(Enum):
    """What can keep a counter from counting: too little or too much light, too little detail, too much of the rest.

    No figure of `Sight` tells of the last two: something larger than an insect is in the view, such as a hand; the
    camera gives no pictures.
    """

    LIGHT = "light"
    DETAIL = "detail"
    NOISE = "noise"
    SHAKE = "shake"
    MOVING = "moving"
    DROPPED = "dropped"
    COVERED = "covered"
    CAMERA = "camera"


class Sight(msgspec.Struct, frozen=True, kw_only=True, gc=False, omit_defaults=True):
    """How well a counter saw during a tally: means over its looks. An absent field is unknown, never zero.

    Attributes
    ----------
    light
        Mean grey level of the view, 0 (black) to 255 (white).
    detail
        How much the view's parts differ: standard deviation of what is left when the noise is averaged out [levels].
    noise
        Standard deviation of a pixel from look to look [levels].
    shake_mm
        How far the view moved as a whole from look to look, at the gate [mm].
    moving
        Share of the view, outside of what is followed as bodies, that changed by more than the noise, 0 to 1.
    dropped
        Frames that did not come.
    blind_s
        How long the counter could not count for what it saw [s]; this is left out of the tally's `watched_s`.
    hindrance
        What kept it from counting for longest; nothing if nothing did.
    """

    light: GreyLevels | None = None
    detail: GreyLevels | None = None
    noise: GreyLevels | None = None
    shake_mm: Annotated[float, Meta(ge=0.0)] | None = None
    moving: Share | None = None
    dropped: Annotated[int, Meta(ge=0)] | None = None
    blind_s: Seconds | None = None
    hindrance: Hindrance | None = None


class Crossing(msgspec.Struct, frozen=True, kw_only=True, gc=False, omit_defaults=True, rename={"direction": "dir"}):
    """One body that passed the gate line for good.

    Attributes
    ----------
    at_s
        When its centre passed the line [s], counted from the start of what holds the crossing: a clip or a tally.
    direction, size
        Which way it went, and its class by length.
    length_mm
        Body length without legs and antennae [mm].
    confidence
        How sure the counter is that one body did pass, 0 to 1; nothing, and not on the wire, if it does not know.
    """

    at_s: Seconds
    direction: Direction
    size: SizeClass
    length_mm: Annotated[float, Meta(gt=0.0)]
    confidence: Share | None = None

    def is_visit(self) -> bool:
        """Tell whether this is one wasp-sized insect coming in: what the readiness rule counts."""
        return self.direction is Direction.IN and self.size is SizeClass.WASP


class Tally(msgspec.Struct, frozen=True, kw_only=True, gc=False, rename={"from_at": "from"}):
    """A station's report for one interval; `(station, boot, seq)` names it for ever.

    Attributes
    ----------
    v
        Version of the wire format, 1.
    station, boot, seq
        Who reports, which start of its counter, and which tally of that start, from 1.
    from_at
        Start of the interval, aware UTC; a guess where `clock` is free.
    up_s
        Seconds since the counter started, at the start of the interval [s].
    clock
        Whether the counter knew the time of day.
    seconds, watched_s
        Length of the interval and how much of it was really watched [s].
    crossings
        In time order; their `at_s` counts from `from_at`.
    sight
        How well the counter saw; `UNSET`, and not on the wire, if it does not tell.
    """

    v: Annotated[int, Meta(ge=1, le=1)] = 1
    station: Name
    boot: Name
    seq: Annotated[int, Meta(ge=0)]
    from_at: AwareDatetime
    up_s: Seconds
    clock: Clock
    seconds: Annotated[float, Meta(gt=0.0, le=3600.0)]
    watched_s: Seconds
    crossings: tuple[Crossing, ...] = ()
    sight: Sight | UnsetType = UNSET

    def __post_init__(self) -> None:
        """Refuse a tally that contradicts itself."""
        longest_s = self.seconds + ROUNDING_S
        if self.watched_s > longest_s:
            raise ValueError(f"watched_s {self.watched_s} is longer than the interval of {self.seconds} s")
        for crossing in self.crossings:
            if not crossing.at_s <= longest_s:  # what is no number lies nowhere
                raise ValueError(f"a crossing at {crossing.at_s} s lies outside the interval of {self.seconds} s")

    @property
    def to_at(self) -> datetime:
        """End of the interval, aware UTC."""
        return self.from_at + timedelta(seconds=self.seconds)

    def visits_at(self) -> list[datetime]:
        """Return the moments of this tally's visits, aware UTC, in time order."""
        return [self.from_at + timedelta(seconds=c.at_s) for c in self.crossings if c.is_visit()]
