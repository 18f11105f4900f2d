"""What the ledger knows of a station's lure, hour by hour, for a forecast."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

from swapbell_host.books import tallybook
from swapbell_host.books.planbook import Planbook
from swapbell_host.books.servicebook import Servicebook
from swapbell_host.books.store import Store, ledger_url, open_existing
from swapbell_host.config import read_config
from swapbell_host.desk.opening import key, refusing
from swapbell_host.intake import Station as Key
from swapbell_host.jobs.entry import Act, standing
from swapbell_host.jobs.plan import shown
from swapbell_host.recent import Recent
from swapbell_models import traffic
from swapbell_models.calendar.place import Place
from swapbell_models.fault import Mistake
from swapbell_models.forecasting.foraging import Foraging, fixed, sunlit
from swapbell_models.forecasting.forecast import HORIZON, Forecast, forecast
from swapbell_models.job import LURE_MAX
from swapbell_models.phase import Phase
from swapbell_models.readiness import Rule
from swapbell_models.tally import Tally
from swapbell_models.traffic import Window

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
    book = Servicebook(store)
    name, site = "/".join(station), book.sites(now)[station[0]]
    if (phase := book.job(*station, now).phase) is not Phase.LURING:
        raise Mistake(f"station {name}: its phase is {phase.value}; a forecast is for a station whose lure hangs")
    begins = [each.at for each in standing(book.entries(*station, now)) if each.act in BEGINS]
    begin_at = max([now - LURE_MAX, *begins[-1:]])
    foraging = _foraging(name, book.place(*station, now), hours, site.clock, begin_at, now)
    windows = _hourly(_tallies(store, station, begin_at, now), foraging, begin_at, now)
    return Lure(*station, site.clock, windows, foraging, hours is None, rule, now)


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


def _tallies(store: Store, station: Key, begin_at: datetime, now: datetime) -> list[Tally]:
    """Return what was told of a stretch of time, each tally where it belongs in it."""
    recent = Recent()
    with store.reading() as connection:
        for boot, started_at in tallybook.starts(connection, *station).items():
            recent.place(boot, started_at)
        for tally in tallybook.of_station(connection, *station, begin_at):
            recent.add(tally)
    return [tally for tally in recent.since(begin_at, now) if tally.to_at > begin_at]


def _hourly(told: Sequence[Tally], foraging: Foraging, begin_at: datetime, now: datetime) -> tuple[Window, ...]:
    """Return the traffic by hours of the clock, from the first count to now."""
    if not told:
        return ()
    nights = [(dusk_at, dawn_at) for (_, dusk_at), (dawn_at, _) in pairwise(foraging.spans) if dusk_at < dawn_at]
    record = traffic.read(told, nights)
    return tuple(record.window(*span) for span in _hours(max(begin_at, told[0].from_at), now))


def _hours(from_at: datetime, to_at: datetime) -> Sequence[tuple[datetime, datetime]]:
    """Return the hours of the clock in a stretch, the first and the last as long as they are in it."""
    whole = from_at.replace(minute=0, second=0, microsecond=0)
    edges = [whole + k * HOUR for k in range((to_at - whole) // HOUR + 2)]
    spans = [(max(a, from_at), min(b, to_at)) for a, b in pairwise(edges)]
    return [span for span in spans if span[0] < span[1]]
