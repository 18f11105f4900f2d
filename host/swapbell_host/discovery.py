"""Tells home automation which stations there are and what their topics mean: one retained message for each station.

The form is that of the device discovery which Home Assistant documents for MQTT (home-assistant.io, "MQTT", chapters
"Discovery messages" and "Device discovery payload", and "MQTT sensor"), which other programs read, too. What a
station says goes on travelling on our own topics alone.
"""

from collections.abc import Mapping
from importlib.metadata import version
from typing import NamedTuple

import msgspec
from msgspec.structs import replace

from swapbell_host.config import DiscoverySection
from swapbell_host.intake import Station
from swapbell_host.jobs.plan import Role
from swapbell_host.judging.history import History
from swapbell_models.job import ENDED
from swapbell_models.message import StationState, Subject, topic
from swapbell_models.phase import Phase
from swapbell_models.readiness import Step

# Our choice: a standing comes each minute; after five of them without a word nobody knows any more.
EXPIRE_S = 300
GONE = b""


class Availability(msgspec.Struct, frozen=True, kw_only=True):
    """Where it is said whether something can be had: `online` or `offline`, after its template."""

    topic: str
    value_template: str


class Component(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One value of a station, as a sensor."""

    platform: str
    unique_id: str
    name: str
    state_topic: str
    value_template: str
    device_class: str | None = None
    state_class: str | None = None
    unit_of_measurement: str | None = None
    options: tuple[str, ...] = ()
    expire_after: int | None = None
    entity_category: str | None = None
    json_attributes_topic: str | None = None
    availability: tuple[Availability, ...] = ()


class Device(msgspec.Struct, frozen=True, kw_only=True):
    """The station that the values belong to."""

    identifiers: tuple[str, ...]
    name: str
    manufacturer: str
    model: str


class Origin(msgspec.Struct, frozen=True, kw_only=True):
    """Who says so."""

    name: str
    sw_version: str


class Discovery(msgspec.Struct, frozen=True, kw_only=True):
    """One station."""

    device: Device
    origin: Origin
    availability: tuple[Availability, ...]
    components: Mapping[str, Component]


def discovery_topic(prefix: str, station: Station) -> str:
    """Return where home automation looks for a station: its site is the node, so that no two share a topic."""
    site, name = station
    return f"{prefix}/device/swapbell-{site}/{name}/config"


def discovery(station: Station, role: Role, window_s: float) -> Discovery:
    """Return what home automation is told of a station.

    Parameters
    ----------
    station : (site, station)
        Whose names hold nothing but letters, digits, - and _.
    window_s : float
        Over how long the rule counts [s].
    """
    site, name = station
    return Discovery(
        device=Device(
            identifiers=(_id(station),),
            name=f"{site} {name}",
            manufacturer="swapbell",
            model=f"{role.value} station",
        ),
        origin=Origin(name="swapbell", sw_version=version("swapbell")),
        availability=(_available(station),),
        components=_traffic(station, window_s) | _job(station) | _health(station),
    )


def _traffic(station: Station, window_s: float) -> dict[str, Component]:
    """Return what the counter sees; a null of ours is their word for unknown, and never zero."""
    minutes = f"{window_s / 60.0:g} min"
    visits = replace(_shown(station, "visits", f"Visits in {minutes}"), state_class="measurement")
    watched = replace(
        _shown(station, "watched_s", f"Watched in {minutes}"),
        device_class="duration",
        state_class="measurement",
        unit_of_measurement="s",
    )
    return {"visits": replace(visits, expire_after=EXPIRE_S), "watched_s": replace(watched, expire_after=EXPIRE_S)}


def _job(station: Station) -> dict[str, Component]:
    """Return what is concluded, with the reason beside it, and where the job stands."""
    verdict, phase = _shown(station, "verdict", "Verdict"), _shown(station, "phase", "Phase")
    return {
        "verdict": replace(
            verdict,
            device_class="enum",
            options=tuple(step.value for step in Step),
            expire_after=EXPIRE_S,
            json_attributes_topic=verdict.state_topic,
        ),
        "phase": replace(phase, device_class="enum", options=tuple(phase.value for phase in Phase)),
    }


def _health(station: Station) -> dict[str, Component]:
    """Return what the station says of itself; that it is lost can be read only where this stays available."""
    where = topic(*station, Subject.HEALTH)
    return {
        "health": Component(
            platform="sensor",
            unique_id=f"{_id(station)}.health",
            name="Health",
            state_topic=where,
            value_template="{{ value_json.state }}",
            device_class="enum",
            options=tuple(state.value for state in StationState),
            entity_category="diagnostic",
            json_attributes_topic=where,
            availability=(Availability(topic=where, value_template="online"),),
        )
    }


def _shown(station: Station, field: str, name: str) -> Component:
    """Return a field of the station's standing."""
    return Component(
        platform="sensor",
        unique_id=f"{_id(station)}.{field}",
        name=name,
        state_topic=topic(*station, Subject.STANDING),
        value_template=f"{{{{ value_json.{field} }}}}",
    )


def _available(station: Station) -> Availability:
    """Return that a station is offline once it took its leave, or its last will was read out."""
    away = ", ".join(f"'{state.value}'" for state in (StationState.STOPPED, StationState.LOST))
    return Availability(
        topic=topic(*station, Subject.HEALTH),
        value_template=f"{{{{ 'offline' if value_json.state in [{away}] else 'online' }}}}",
    )


def _id(station: Station) -> str:
    """Return a station's name among all devices: no site's or station's name holds a dot."""
    return ".".join(("swapbell", *station))


class _Told(NamedTuple):
    here: bool
    role: Role
    connection: int


class Announcements:
    """What home automation was told, so that it is told once on each connection and when the plan changes.

    Parameters
    ----------
    section : DiscoverySection or None
        Nothing is ever told without it.
    window_s : float
        Over how long the rule counts [s].
    """

    def __init__(self, section: DiscoverySection | None, window_s: float) -> None:
        self._section, self._window_s = section, window_s
        self._told: dict[Station, _Told] = {}

    def news(self, history: History, connection: int) -> tuple[str, bytes] | None:
        """Return the topic and the retained message to publish now, if there is something to tell.

        The message is empty, which takes the station away, where its job has ended or the option is off.

        Parameters
        ----------
        history : History
            What is known of the station.
        connection : int
            Which connection to the broker it would be published on: another one may be a broker that forgot.
        """
        if self._section is None:
            return None
        station = history.site, history.station
        told = _Told(self._section.enabled and history.phase not in ENDED, history.role, connection)
        if self._told.get(station) == told:
            return None
        self._told[station] = told
        found = discovery(station, history.role, self._window_s)
        return discovery_topic(self._section.prefix, station), msgspec.json.encode(found) if told.here else GONE
