"""When wasps take protein bait, and when their colonies are largest: the window opens well before the peak.

Calendar spans from published observations, each kept to the band of latitude where it was made. Years differ: at one
place numbers varied 40-fold (Reierson, Rust and Vetter). No published model of warmth and *Vespula* was found, so
there is none here: the calendar says when to look, and only counts say when to swap.
"""

from dataclasses import dataclass
from datetime import date
from enum import Enum

from swapbell_models.calendar.place import Hemisphere, Place
from swapbell_models.quantity import day

# By definition, in a year without a leap day.
DAYS_PER_YEAR = 365
_COMMON_YEAR = 2001


class Stage(Enum):
    """What wasps do in a part of the year."""

    FOUNDING = "queens found their nests"
    OPENING = "visits to protein bait rise fast"
    BAITING = "bait is hung out in practice"
    TAKING = "the share of wasps that carry bait home is highest"
    PEAK = "colonies are most and largest"
    QUEENS = "new queens and males fly: bait now gains little for the next year"
    NESTING = "nests are found"
    ENDING = "nests die out"


@dataclass(frozen=True, slots=True)
class Band:
    """A band of latitude.

    Attributes
    ----------
    hemisphere
        Its half of the earth.
    from_deg, to_deg
        Degrees from the equator, `to_deg` left out [degrees].
    """

    hemisphere: Hemisphere
    from_deg: float
    to_deg: float

    def holds(self, place: Place) -> bool:
        """Tell whether a place lies in the band."""
        return place.hemisphere is self.hemisphere and self.from_deg <= abs(place.latitude_deg) < self.to_deg


@dataclass(frozen=True, slots=True)
class Span:
    """A stage of the year in a band, with its source.

    Attributes
    ----------
    stage, band
        What happens, and where it was observed.
    first, last
        Month and day, both included; a span may run over the turn of the year.
    source
        Who observed it, or how it was inferred.
    """

    stage: Stage
    band: Band
    first: tuple[int, int]
    last: tuple[int, int]
    source: str

    def covers(self, on: date) -> bool:
        """Tell whether a day lies in the span."""
        today = (on.month, on.day)
        if self.first <= self.last:
            return self.first <= today <= self.last
        return today >= self.first or today <= self.last


# Our choice: observations hold a few degrees around the places where they were made.
# Adelaide, 35 S. New Zealand and Tasmania, 38 to 46 S. Irvine in California, 33.6 N. England and middle Europe.
ADELAIDE = Band(Hemisphere.SOUTH, 33.0, 38.0)
NEW_ZEALAND = Band(Hemisphere.SOUTH, 38.0, 48.0)
CALIFORNIA = Band(Hemisphere.NORTH, 32.0, 40.0)
EUROPE = Band(Hemisphere.NORTH, 40.0, 60.0)

_SIX_MONTHS = "six months after New Zealand: inferred, "
_FROM_MEMORY = "from memory"

SPANS = (
    Span(Stage.NESTING, ADELAIDE, (11, 1), (5, 31), "Kasper et al. 2008, Aust J Ent 47:265-274"),
    Span(Stage.PEAK, ADELAIDE, (5, 15), (5, 31), "mature nests at the end of May: Kasper et al. 2008, as above"),
    Span(Stage.FOUNDING, NEW_ZEALAND, (9, 15), (11, 30), "NZ J Zool 18:95-99, 1991"),
    Span(Stage.OPENING, NEW_ZEALAND, (1, 1), (1, 31), "Spurr 1995, protein bait preferences"),
    Span(Stage.BAITING, NEW_ZEALAND, (1, 15), (3, 31), "Nelson 2017; vineyards of Tasmania, Wine Australia"),
    Span(Stage.TAKING, NEW_ZEALAND, (2, 1), (3, 31), "Spurr 1995, protein bait preferences"),
    Span(Stage.PEAK, NEW_ZEALAND, (3, 1), (4, 30), "Sandlant and Moller 1989, NZ J Zool 16:333-343"),
    Span(Stage.QUEENS, NEW_ZEALAND, (4, 15), (5, 10), "Manawatu nests of V. germanica, NZ J Zool"),
    Span(Stage.ENDING, NEW_ZEALAND, (6, 1), (7, 10), "Sandlant and Moller 1989, NZ J Zool 16:333-343"),
    Span(Stage.BAITING, CALIFORNIA, (8, 1), (9, 30), "not before early August: Rust et al. 2016; its end our choice"),
    Span(Stage.FOUNDING, EUROPE, (4, 1), (5, 31), _FROM_MEMORY),
    Span(Stage.OPENING, EUROPE, (7, 1), (7, 31), _SIX_MONTHS + "Spurr 1995"),
    Span(Stage.TAKING, EUROPE, (8, 1), (9, 30), _SIX_MONTHS + "Spurr 1995"),
    Span(Stage.PEAK, EUROPE, (8, 1), (10, 15), _FROM_MEMORY),
    Span(Stage.QUEENS, EUROPE, (9, 1), (10, 31), _FROM_MEMORY),
    Span(Stage.ENDING, EUROPE, (11, 1), (12, 31), _FROM_MEMORY),
)

# Bait gains most while wasps take it and new queens do not fly yet.
WINDOW = frozenset({Stage.OPENING, Stage.BAITING, Stage.TAKING})


@dataclass(frozen=True, slots=True)
class Season:
    """What the calendar says of a day at a place.

    Attributes
    ----------
    on
        The day.
    known
        All spans of the place's band; none where nothing was found for its latitude.
    """

    on: date
    known: tuple[Span, ...]

    @property
    def now(self) -> tuple[Span, ...]:
        """The spans that cover the day."""
        return tuple(span for span in self.known if span.covers(self.on))

    @property
    def is_window(self) -> bool | None:
        """Whether the bait window is open; nothing where no window is known for the latitude."""
        window = [span for span in self.known if span.stage in WINDOW]
        return any(span.covers(self.on) for span in window) if window else None

    @property
    def lead_days(self) -> int | None:
        """From the opening of the window to the first day of the peak [d]; nothing where either is unknown."""
        opens = [_of_year(span.first) for span in self.known if span.stage in WINDOW]
        peaks = [_of_year(span.first) for span in self.known if span.stage is Stage.PEAK]
        return max((peak - first) % DAYS_PER_YEAR for peak in peaks for first in opens) if opens and peaks else None

    @property
    def words(self) -> str:
        """The season for a person."""
        if self.is_window is None:
            return "No bait window is known for this latitude: let the lure and the counts tell."
        state = "open" if self.is_window else "closed"
        told = "; ".join(f"{span.stage.value} ({span.source})" for span in self.now)
        return f"By the calendar the bait window is {state}" + (f": {told}." if told else ".")


def _of_year(month_day: tuple[int, int]) -> int:
    return date(_COMMON_YEAR, *month_day).timetuple().tm_yday


def season(on: date, place: Place) -> Season:
    """Return what the calendar says of a day at a place.

    Parameters
    ----------
    on : date
        The day at the place.
    place : Place
        Its latitude chooses the band. Spans are known for 33-48 degrees south and 32-60 degrees north.

    Raises
    ------
    ValueError
        If a moment is given for the day.
    """
    return Season(day("on", on), tuple(span for span in SPANS if span.band.holds(place)))
