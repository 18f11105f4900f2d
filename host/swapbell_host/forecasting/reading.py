"""What the ledger knows of a station's lure, hour by hour, for a forecast."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from itertools import groupby, pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

from swapbell_host.books.countbook import Countbook
from swapbell_host.books.planbook import Planbook
from swapbell_host.books.servicebook import Servicebook
from swapbell_host.books.store import Store, ledger_url, open_existing
from swapbell_host.config import read_config
from swapbell_host.count import Count, by_day, overlap_s
from swapbell_host.desk.opening import key, refusing
from swapbell_host.intake import Station as Key
from swapbell_host.jobs.entry import Act, standing
from swapbell_host.jobs.plan import shown
from swapbell_models.calendar.place import Place
from swapbell_models.fault import Mistake
from swapbell_models.forecasting.foraging import Foraging, fixed, sunlit
from swapbell_models.forecasting.forecast import HORIZON, Forecast, forecast
from swapbell_models.job import LURE_MAX
from swapbell_models.phase import Phase
from swapbell_models.readiness import Rule
from swapbell_models.traffic import Span, Window

HOUR = timedelta(hours=1)
# What begins a lure's traffic anew: it was hung out, or hung elsewhere.
BEGINS = frozenset({Act.LURED, Act.MOVED})


@dataclass(frozen=True, slots=True)
class Lure:
    """A lure that hangs, and its traffic so far.

    Attributes
    ----------
    site, station
        Whose it is.
    zone
        The site's clock.
    windows
        Each hour since the lure hangs, or since the first count; what nobody watched is in, with no seconds watched.
    foraging
        Its foraging days until the horizon.
    by_sun
        Whether those are the sun's at the station's place, or were given.
    rule
        What is to be reached.
    now
        Aware UTC.
    """

    site: str
    station: str
    zone: ZoneInfo
    windows: tuple[Window, ...]
    foraging: Foraging
    by_sun: bool
    rule: Rule
    now: datetime


def made_of(config_file: Path, station: str, hours: str | None = None) -> tuple[Forecast, Lure]:
    """Return the forecast of a station, named SITE/STATION, of a configuration's ledger, and what it was made from.

    Raises
    ------
    Mistake, Breakdown
        As `read_lure`; and if the configuration or the ledger cannot be read, or the station is not known.
    """
    config, asked, now = read_config(config_file), key(station), datetime.now(UTC)
    with refusing(), open_existing(ledger_url(config.ledger)) as store:
        known = Planbook(store).station(*asked).key
        lure = read_lure(store, known, config.rules([known])[known], now, hours)
    return forecast(lure.windows, lure.foraging, now, lure.rule), lure


def read_lure(store: Store, station: Key, rule: Rule, now: datetime, hours: str | None = None) -> Lure:
    """Return what the ledger knows of a lure.

    Parameters
    ----------
    store : Store
        The open ledger.
    station : (site, station)
        One that the ledger knows.
    rule : Rule
        The station's rule.
    now : datetime
        Aware UTC.
    hours : str, optional
        The foraging day by the site's clock, such as 06:00-20:30, in place of the sun's at the station's place.

    Raises
    ------
    Mistake
        If no lure hangs there, or nobody can say when it is day.
    Breakdown
        If the ledger cannot be read.
    """
    return lure_of(Servicebook(store), Countbook(store), station, rule, now, hours)


def lure_of(
    book: Servicebook, counts: Countbook, station: Key, rule: Rule, now: datetime, hours: str | None = None
) -> Lure:
    """Return what is known of a lure, by books that are open already; see `read_lure`."""
    name, site = "/".join(station), book.sites(now)[station[0]]
    if (phase := book.job(*station, now).phase) is not Phase.LURING:
        raise Mistake(f"station {name}: its phase is {phase.value}; a forecast is for a station whose lure hangs")
    begins = [each.at for each in standing(book.entries(*station, now)) if each.act in BEGINS]
    begin_at = max([now - LURE_MAX, *begins[-1:]])
    foraging = _foraging(name, book.place(*station, now) or rule.place, hours, site.clock, begin_at, now)
    told = [each for each in counts.span(*station, begin_at, now) if each.from_at >= begin_at]
    return Lure(*station, site.clock, _hourly(told, foraging, now), foraging, hours is None, rule, now)


def _foraging(
    name: str, place: Place | None, hours: str | None, zone: ZoneInfo, begin_at: datetime, now: datetime
) -> Foraging:
    if hours is not None:
        return fixed(*_opening(hours, zone, now), begin_at, now + HORIZON)
    if place is None:
        raise Mistake(
            f"station {name}: nobody has said where it hangs, so that its daylight is not known; say so with "
            f"`swapbell-host station change {name} --place`, or give --hours 06:00-20:00"
        )
    return sunlit(place, begin_at, now + HORIZON)


def _opening(hours: str, zone: ZoneInfo, now: datetime) -> tuple[time, time]:
    """Return when the foraging day opens and closes, in UTC as it is by the site's clock now."""
    opens, dash, closes = hours.partition("-")
    try:
        told = [time.fromisoformat(text.strip()) for text in (opens, closes)]
    except ValueError:
        told = []
    if not (dash and told) or any(each.tzinfo for each in told):
        raise Mistake(f"--hours must read like 06:00-20:30, by the site's clock, not {shown(hours)}")
    today = now.astimezone(zone).date()
    first, last = (datetime.combine(today, each, zone).astimezone(UTC).time() for each in told)
    return first, last


def _hourly(told: Sequence[Count], foraging: Foraging, now: datetime) -> tuple[Window, ...]:
    """Return the traffic by hours of the clock, from the first count to now."""
    if not told:
        return ()
    nights = [(dusk_at, dawn_at) for (_, dusk_at), (dawn_at, _) in pairwise(foraging.spans) if dusk_at < dawn_at]
    lit = by_day(told, nights)
    within = {hour: list(each) for hour, each in groupby(lit, lambda count: _hour(count.from_at))}
    return tuple(_window(span, within.get(_hour(span[0]), []), nights) for span in _hours(told[0].from_at, now))


def _window(span: Span, told: Sequence[Count], nights: Sequence[Span]) -> Window:
    """Return what is known of an hour."""
    watched_s, dark_s = sum(each.watched_s for each in told), overlap_s(span, nights)
    light_s = (span[1] - span[0]).total_seconds() - dark_s
    return Window(*span, sum(each.visits for each in told), min(watched_s, light_s), dark_s)


def _hour(at: datetime) -> datetime:
    return at.replace(minute=0, second=0, microsecond=0)


def _hours(from_at: datetime, to_at: datetime) -> Sequence[Span]:
    """Return the hours of the clock in a stretch, the first and the last as long as they are in it."""
    edges = [_hour(from_at) + k * HOUR for k in range((to_at - _hour(from_at)) // HOUR + 2)]
    spans = [(max(a, from_at), min(b, to_at)) for a, b in pairwise(edges)]
    return [span for span in spans if span[0] < span[1]]
