"""When wasps take protein bait at a place, and when on a day their absence means something."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, tzinfo
from zoneinfo import ZoneInfo, available_timezones

from swapbell_host.trade.answer import Answer, Figure
from swapbell_models.calendar.daylight import Daylight, Sun, daylight, forages
from swapbell_models.calendar.place import Hemisphere, Place
from swapbell_models.calendar.season import SPANS, Season, Span, season
from swapbell_models.quantity import aware, within

_SUN = "astral, with the horizon of Reda and Andreas 2004; within a minute up to 64 degrees of latitude"
_HOURS = "22 min longer than the sun's day: Kasper et al. 2008, Insectes Sociaux 55; split evenly: our choice"
CAUTIONS = (
    "A calendar says when to look, and only counts say when to swap: at one place numbers varied 40-fold between "
    "years (Reierson, Rust and Vetter).",
    "The window opens well before colonies peak: whoever waits for the peak baits late, when new queens may fly.",
    "Label, permit and local law may name dates of their own, which come first.",
)


@dataclass(frozen=True, slots=True)
class Where:
    """A place and a moment, as typed.

    Attributes
    ----------
    hemisphere
        "north" or "south".
    latitude, longitude
        In degrees, south and west negative; no hours of the sun without a longitude.
    on
        The day at the place.
    at
        A moment to tell whether wasps may forage; nothing if not asked.
    zone
        The zone in which times are told, as "Pacific/Auckland"; UTC if not said.
    """

    hemisphere: str
    latitude: str
    longitude: str | None
    on: date
    at: datetime | None
    zone: str | None


def answer(where: Where) -> Answer:
    """Return the season of a place, and the hours of one of its days.

    Raises
    ------
    ValueError
        If the place is none, or the moment does not say its offset from UTC.
    """
    half = _hemisphere(where.hemisphere)
    latitude_deg = _degrees("--latitude", where.latitude, 90.0)
    found = [*_season(season(where.on, Place(latitude_deg, 0.0, half)))]  # the season does not ask for the longitude
    if where.longitude is not None:
        place, zone = Place(latitude_deg, _degrees("--longitude", where.longitude, 180.0), half), _zone(where.zone)
        found += _day(daylight(place, where.on), zone)
        found += [] if where.at is None else [_moment(place, aware("--at", where.at), zone)]
    elif where.at or where.zone:
        raise ValueError("--at and --zone need --longitude: the hours of the sun depend on it")
    return Answer(tuple(found), cautions=CAUTIONS)


def _season(found: Season) -> Iterator[Figure]:
    state = {True: "open", False: "closed", None: None}[found.is_window]
    yield Figure("window", "bait window", found.words, "the spans below, each from its source", state)
    for span in found.known:
        value = {"first": _month_day(span.first), "last": _month_day(span.last)}
        yield Figure(span.stage.name.lower(), _label(span), _said(span), span.source, value)
    if found.lead_days is not None:
        words = f"{found.lead_days} days before colonies begin to peak"
        yield Figure("lead", "the window opens", words, "by arithmetic, from the spans above", found.lead_days, "d")
    if not found.known:
        yield Figure(
            "bands", "known latitudes", _bands(), "where the observations were made; their width: our choice"
        )


def _label(span: Span) -> str:
    return span.stage.name.lower()


def _said(span: Span) -> str:
    return f"{_day_month(span.first)} to {_day_month(span.last)}: {span.stage.value}"


def _day_month(month_day: tuple[int, int]) -> str:
    return f"{date(2001, *month_day):%-d %B}"


def _month_day(month_day: tuple[int, int]) -> str:
    return "{:02d}-{:02d}".format(*month_day)


def _bands() -> str:
    bands = dict.fromkeys(span.band for span in SPANS)
    return "; ".join(f"{each.from_deg:g} to {each.to_deg:g} degrees {each.hemisphere.value}" for each in bands)


def _day(day: Daylight, zone: tzinfo) -> Iterator[Figure]:
    if day.sun is not Sun.RISES:
        yield Figure("sun", "sun", f"it {day.sun.value} on this day", _SUN, day.sun.name.lower())
    for key, at in (("sunrise", day.sunrise_at), ("noon", day.noon_at), ("sunset", day.sunset_at)):
        yield Figure(key, key, "none on this day" if at is None else _clock(at, zone), _SUN, _iso(at, zone))
    if day.foraging is None:
        yield Figure("foraging", "foraging hours", "none on this day: the sun does not rise", _HOURS)
    else:
        words = " to ".join(_clock(at, zone) for at in day.foraging)
        words += ", if it is dry and warm; outside them, no wasps prove nothing"
        yield Figure("foraging", "foraging hours", words, _HOURS, [_iso(at, zone) for at in day.foraging])


def _moment(place: Place, at: datetime, zone: tzinfo) -> Figure:
    may = forages(place, at)
    words = f"{_clock(at, zone)} lies {'in' if may else 'outside'} the foraging hours"
    return Figure("forages", "that moment", words, _HOURS, may)


def _clock(at: datetime, zone: tzinfo) -> str:
    return f"{at.astimezone(zone):%Y-%m-%d %H:%M %Z}"


def _iso(at: datetime | None, zone: tzinfo) -> str | None:
    return None if at is None else at.astimezone(zone).isoformat(timespec="seconds")


def _hemisphere(text: str) -> Hemisphere:
    try:
        return Hemisphere(text.strip().lower())
    except ValueError:
        raise ValueError(f"--hemisphere must be north or south, not {text!r}") from None


def _degrees(name: str, text: str, most: float) -> float:
    try:
        value = float(text)
    except ValueError:
        raise ValueError(f"{name} must be a number of degrees, south and west negative, not {text!r}") from None
    return within(name, value, -most, most, "degrees")


def _zone(name: str | None) -> tzinfo:
    if name is None:
        return UTC
    if name not in available_timezones():
        raise ValueError(f"--zone must be a zone such as Pacific/Auckland, not {name!r}")
    return ZoneInfo(name)
