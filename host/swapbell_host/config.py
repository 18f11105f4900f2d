"""The host's configuration file, `host.toml`: the broker, the ledger, the rule, the alerts, the stations.

A minimal one, with a station; most stations are added to the ledger by `swapbell-host station add` instead::

    ledger = "ledger.sqlite"          # relative to this file, or postgresql+psycopg://user@host/name
    photos = "photos"                 # a folder beside it

    [broker]
    host = "192.0.2.10"

    [[station]]
    site = "orchard"
    name = "north"

Strict: an unknown key is a mistake, answered with the nearest one that is known.
"""

from collections import Counter
from collections.abc import Iterable
from datetime import timedelta
from pathlib import Path
from typing import Annotated

import msgspec
from msgspec import Meta

from swapbell_models import settings
from swapbell_models.calendar.place import Hemisphere, Place
from swapbell_models.confirmation import WINDOWS, Confirm
from swapbell_models.fault import Mistake
from swapbell_models.phase import Phase
from swapbell_models.readiness import RULE_VISITS, SILENT_S, Rule
from swapbell_models.tally import Name
from swapbell_models.traffic import WINDOW_S

PositiveSeconds = Annotated[float, Meta(gt=0.0)]
# Our choice: within less than a minute no count is more than luck; after more than an hour the season has moved on.
WindowSeconds = Annotated[float, Meta(ge=60.0, le=3600.0)]
# IANA's registered port for MQTT.
MQTT_PORT = 1883


class BrokerSection(msgspec.Struct, frozen=True, kw_only=True):
    """Where the broker is and how the host signs in.

    Attributes
    ----------
    client
        The host's name at the broker, which keeps messages for it under that name; one per host.
    password_file, ca_file
        A file that holds nothing but the password; the certificate of the authority that signed the broker's. With
        `ca_file` the connection is encrypted.
    """

    host: Annotated[str, Meta(min_length=1)]
    port: Annotated[int, Meta(ge=1, le=65535)] = MQTT_PORT
    client: Name = "swapbell-host"
    username: str | None = None
    password_file: str | None = None
    ca_file: str | None = None


class AuditorSection(msgspec.Struct, frozen=True, kw_only=True):
    """A name at the broker for whoever asks for evidence: under the host's own, it might push the host out."""

    username: Annotated[str, Meta(min_length=1)]
    password_file: str


class RuleSection(msgspec.Struct, frozen=True, kw_only=True):
    """The readiness rule of all stations; see `swapbell_models.readiness.Rule`."""

    visits: int = RULE_VISITS
    window_s: WindowSeconds = WINDOW_S
    confirm: Confirm = Confirm.TWO_OF_THREE


class HeartbeatSection(msgspec.Struct, frozen=True, kw_only=True):
    """How somebody outside notices that the host is dead.

    Attributes
    ----------
    url
        Asked over HTTP as long as the host works, and not otherwise: whoever watches there notices the silence.
    every
        How often, such as 10 min.
    contact
        Who is told once a day that the host works, and when it does not: a contact, or a channel.
    """

    url: Annotated[str, Meta(pattern=r"^https?://")] | None = None
    every: str = "10 min"
    contact: str | None = None


class AlertsSection(msgspec.Struct, frozen=True, kw_only=True):
    """Whom notices are told, as URLs that apprise understands.

    Attributes
    ----------
    urls
        Who is told of stations without a contact, and where a contact does not answer and has no second.
    quiet
        When those want to hear nothing, such as 21:00-06:00.
    channels
        URLs by a name that a contact may give as its address, so that the ledger holds no password.
    """

    urls: tuple[str, ...] = ()
    quiet: str | None = None
    channels: dict[str, str] = {}
    heartbeat: HeartbeatSection | None = None


class PageSection(msgspec.Struct, frozen=True, kw_only=True):
    """Where the page is served.

    Attributes
    ----------
    listen
        Address and port; beyond this machine it needs a login first.
    address
        What people type where that is another one, such as https://wasps.example.org: something in front of the host
        adds the encryption, and a login is needed also on this machine.
    certificate_file, key_file
        PEM files with which the host encrypts by itself.
    """

    listen: Annotated[str, Meta(pattern=r"^[^\s:/]+:[0-9]{1,5}$|^\[[0-9A-Fa-f:.]+\]:[0-9]{1,5}$")] = "127.0.0.1:8080"
    address: Annotated[str, Meta(pattern=r"^https?://[^\s/]+$")] | None = None
    certificate_file: str | None = None
    key_file: str | None = None


class DiscoverySection(msgspec.Struct, frozen=True, kw_only=True):
    """Whether home automation is told of the stations; it is not where the section is missing.

    Attributes
    ----------
    enabled
        With `false`, what it was told before is taken back.
    prefix
        The first levels of the topics on which it listens.
    """

    enabled: bool = True
    # The default of Home Assistant (its documentation of MQTT, "Discovery options"), which others took over.
    prefix: Annotated[str, Meta(pattern=r"^[A-Za-z0-9_-]+(/[A-Za-z0-9_-]+)*$")] = "homeassistant"


class StationSection(msgspec.Struct, frozen=True, kw_only=True):
    """One station.

    Attributes
    ----------
    phase
        Where it stands in its job until its service log says more.
    silent_after_s
        Age of its last tally beyond which it is silent [s].
    """

    site: Name
    name: Name
    phase: Phase = Phase.LURING
    silent_after_s: PositiveSeconds = SILENT_S


class SiteSection(msgspec.Struct, frozen=True, kw_only=True):
    """Where a site lies, so that its nights are known; a station whose place the ledger knows is there instead.

    Attributes
    ----------
    latitude_deg, longitude_deg, hemisphere
        See `swapbell_models.calendar.place.Place`.
    """

    name: Name
    latitude_deg: float
    longitude_deg: float
    hemisphere: Hemisphere

    @property
    def place(self) -> Place:
        """Where it lies."""
        return Place(self.latitude_deg, self.longitude_deg, self.hemisphere)


class Config(msgspec.Struct, frozen=True, kw_only=True, rename={"sites": "site", "stations": "station"}):
    """The whole file; every path in it is absolute.

    Attributes
    ----------
    ledger
        Path of a SQLite file, or a database URL.
    photos
        The folder where the service log's photos are kept.
    page
        Where the page is served; nothing if it is not.
    auditor
        How evidence is asked for; as the host itself, under another client's name, where it is not said.
    discovery
        Whether home automation is told of the stations; nothing if it never was.
    """

    broker: BrokerSection
    auditor: AuditorSection | None = None
    ledger: Annotated[str, Meta(min_length=1)] = "ledger.sqlite"
    photos: Annotated[str, Meta(min_length=1)] = "photos"
    rule: RuleSection = RuleSection()
    alerts: AlertsSection = AlertsSection()
    page: PageSection | None = None
    discovery: DiscoverySection | None = None
    sites: tuple[SiteSection, ...] = ()
    stations: tuple[StationSection, ...] = ()

    def phases(self) -> dict[tuple[str, str], Phase]:
        """Return the phase that the file states of each (site, station) in it."""
        return {(station.site, station.name): station.phase for station in self.stations}

    def kept(self) -> timedelta:
        """Return how much of the past the rule looks at."""
        return timedelta(seconds=WINDOWS * self.rule.window_s)

    def rules(self, more: Iterable[tuple[str, str]] = ()) -> dict[tuple[str, str], Rule]:
        """Return the readiness rule of each (site, station): those of the file, and more that the ledger knows."""
        silent_s = dict.fromkeys(more, SILENT_S)
        silent_s |= {(each.site, each.name): each.silent_after_s for each in self.stations}
        places = {site.name: site.place for site in self.sites}
        return {key: self._rule(after_s, places.get(key[0])) for key, after_s in silent_s.items()}

    def check(self) -> None:
        """Refuse a rule or a place that cannot be, whether or not a station needs it yet."""
        for place in (None, *(site.place for site in self.sites)):
            self._rule(SILENT_S, place)

    def _rule(self, silent_s: float, place: Place | None) -> Rule:
        return Rule(self.rule.visits, self.rule.window_s, self.rule.confirm, silent_s, place)


def read_config(path: Path) -> Config:
    """Read and check a configuration file.

    Raises
    ------
    Mistake
        If it cannot be read, is no TOML, has an unknown key or a value that cannot be.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise Mistake(f"configuration {path}: {error.strerror}; check the path") from error
    except UnicodeDecodeError as error:
        raise Mistake(f"configuration {path}: not a text file; it must be TOML in UTF-8") from error
    return parse_config(text, path)


def parse_config(text: str, path: Path) -> Config:
    """Check the text of a configuration file; relative paths in it count from the folder of `path`."""
    what = f"configuration {path}"
    config = settings.parse(text, Config, what)
    try:
        config.check()
    except ValueError as error:
        raise Mistake(f"{what}: {error}") from error
    _check_names(config, path)
    return _resolved(config, path.resolve().parent)


def _check_names(config: Config, path: Path) -> None:
    counted = Counter(f"station {station.site}/{station.name}" for station in config.stations)
    counted.update(f"site {site.name}" for site in config.sites)
    for name, times in counted.items():
        if times > 1:
            raise Mistake(f"configuration {path}: {name} is there {times} times; give each its own name")


def _resolved(config: Config, folder: Path) -> Config:
    broker = msgspec.structs.replace(
        config.broker,
        password_file=_absolute(config.broker.password_file, folder),
        ca_file=_absolute(config.broker.ca_file, folder),
    )
    auditor = config.auditor and msgspec.structs.replace(
        config.auditor, password_file=str(folder / config.auditor.password_file)
    )
    page = config.page and msgspec.structs.replace(
        config.page,
        certificate_file=_absolute(config.page.certificate_file, folder),
        key_file=_absolute(config.page.key_file, folder),
    )
    ledger = config.ledger if "://" in config.ledger else str(folder / config.ledger)
    return msgspec.structs.replace(
        config, broker=broker, auditor=auditor, page=page, ledger=ledger, photos=str(folder / config.photos)
    )


def _absolute(name: str | None, folder: Path) -> str | None:
    return None if name is None else str(folder / name)
