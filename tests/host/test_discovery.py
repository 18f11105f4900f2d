"""What home automation is told: its documented form, and what comes of it at a real broker."""

import json
import re
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import jinja2
import jsonschema
import paho.mqtt.client as mqtt
import pytest
from listener import eventually
from mosquitto_child import Broker
from orchard import NOON_AT, SITE, STATION, tally, visits

from swapbell_host.config import Config, DiscoverySection, parse_config
from swapbell_host.discovery import Announcements, discovery, discovery_topic
from swapbell_host.jobs.plan import Role
from swapbell_host.judging.history import History
from swapbell_host.main import serve
from swapbell_host.rules import verdict
from swapbell_host.standing import standing
from swapbell_models.fault import Mistake
from swapbell_models.message import Health, StationState, Subject, encode, topic
from swapbell_models.phase import Phase
from swapbell_models.readiness import Rule

NORTH = SITE, STATION
TOPIC = "homeassistant/device/swapbell-orchard/north/config"
LURING = History(SITE, STATION, Phase.LURING)

# The documented form (home-assistant.io, "MQTT", "Device discovery payload": `device`, `origin` and `components` are
# required, each component needs `platform` and `unique_id`; "Sensor": `options` asks for the device class `enum` and
# bars a unit and a state class; "MQTT Sensor": the other fields), as a schema written here.
TEXT: dict[str, object] = {"type": "string", "minLength": 1}
TEMPLATED = {
    "type": "object",
    "required": ["topic"],
    "properties": {"topic": TEXT, "value_template": TEXT},
    "additionalProperties": False,
}
SENSOR = {
    "type": "object",
    "required": ["platform", "unique_id", "state_topic"],
    "properties": {
        "platform": {"const": "sensor"},
        "device_class": {"enum": ["duration", "enum"]},
        "state_class": {"enum": ["measurement", "total", "total_increasing"]},
        "entity_category": {"enum": ["diagnostic", "config"]},
        "options": {"type": "array", "items": TEXT, "minItems": 1, "uniqueItems": True},
        "expire_after": {"type": "integer", "minimum": 1},
        "availability": {"type": "array", "items": TEMPLATED},
        **dict.fromkeys(
            ("unique_id", "name", "state_topic", "value_template", "unit_of_measurement", "json_attributes_topic"),
            TEXT,
        ),
    },
    "additionalProperties": False,
    "dependentSchemas": {
        "options": {
            "required": ["device_class"],
            "properties": {"device_class": {"const": "enum"}, "state_class": False, "unit_of_measurement": False},
        }
    },
}
FORM = {
    "type": "object",
    "required": ["device", "origin", "components"],
    "properties": {
        "device": {
            "type": "object",
            "required": ["identifiers"],
            "properties": {
                "identifiers": {"type": "array", "items": TEXT, "minItems": 1},
                **dict.fromkeys(("name", "manufacturer", "model"), TEXT),
            },
            "additionalProperties": False,
        },
        "origin": {
            "type": "object",
            "required": ["name"],
            "properties": {"name": TEXT, "sw_version": TEXT},
            "additionalProperties": False,
        },
        "availability": {"type": "array", "items": TEMPLATED},
        "components": {"type": "object", "additionalProperties": SENSOR},
    },
    "additionalProperties": False,
}


def told(station: tuple[str, str] = NORTH, role: Role = Role.BAIT) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(encode(discovery(station, role, 300.0)))
    return found


def read(component: str, message: bytes) -> str:
    """Return what home automation reads of one of our messages: it fills templates with Jinja, as we do here."""
    return filled(told()["components"][component]["value_template"], message)


def filled(template: str, message: bytes) -> str:
    return jinja2.Template(template).render(value_json=json.loads(message))


def test_the_message_has_the_documented_form() -> None:
    jsonschema.Draft202012Validator(FORM).validate(told())


def test_a_station_is_one_device_with_its_values() -> None:
    found = told(role=Role.CONTROL)
    assert found["device"] == {
        "identifiers": ["swapbell.orchard.north"],
        "name": "orchard north",
        "manufacturer": "swapbell",
        "model": "control station",
    }
    assert list(found["components"]) == ["visits", "watched_s", "verdict", "phase", "health"]


def test_topics_keep_to_the_letters_that_are_allowed() -> None:
    # "Discovery topic": node and object may hold letters, digits, underscore and hyphen.
    assert re.fullmatch(r"(?:[a-zA-Z0-9_-]+/){4}config", discovery_topic("homeassistant", ("a-b_c", "D_9-")))


def test_no_two_stations_share_a_topic_or_an_identity() -> None:
    pairs = [("a", "b_c"), ("a_b", "c"), ("a-b", "c"), ("a", "b-c")]
    assert len({discovery_topic("p", each) for each in pairs}) == len(pairs)
    ids = [part["unique_id"] for each in pairs for part in told(each)["components"].values()]
    assert len(set(ids)) == len(ids)


def test_what_is_counted_is_read_from_the_standing() -> None:
    history = replace(LURING, tallies=tuple(tally(seq, crossings=visits(1.0)) for seq in range(1, 21)))
    now = NOON_AT + timedelta(minutes=5)
    message = encode(standing(history, verdict(history, now, Rule()), now))
    assert [read(name, message) for name in ("visits", "watched_s", "verdict", "phase")] == [
        "20",
        "300.0",
        "touched",
        "luring",
    ]


def test_what_nobody_knows_is_read_as_unknown_and_never_as_zero() -> None:
    message = encode(standing(LURING, verdict(LURING, NOON_AT, Rule()), NOON_AT))
    # "MQTT Sensor": the word None makes a sensor's state unknown.
    assert (read("visits", message), read("verdict", message)) == ("None", "unjudged")


def test_every_verdict_phase_and_state_is_among_the_options() -> None:
    parts = told()["components"]
    assert "unjudged" in parts["verdict"]["options"]
    assert parts["phase"]["options"] == [phase.value for phase in Phase]
    assert parts["health"]["options"] == [state.value for state in StationState]


@pytest.mark.parametrize(
    ("state", "available"),
    [
        (StationState.WATCHING, "online"),
        (StationState.BLIND, "online"),
        (StationState.STOPPED, "offline"),
        (StationState.LOST, "offline"),
    ],
)
def test_a_station_is_away_when_it_took_its_leave_or_its_last_will_was_read(
    state: StationState, available: str
) -> None:
    message = encode(Health(station=STATION, state=state))
    (where,) = told()["availability"]
    assert (where["topic"], filled(where["value_template"], message)) == (topic(*NORTH, Subject.HEALTH), available)
    assert read("health", message) == state.value


def test_that_a_station_is_lost_stays_readable() -> None:
    (where,) = told()["components"]["health"]["availability"]
    assert filled(where["value_template"], encode(Health(station=STATION, state=StationState.LOST))) == "online"


def test_counts_expire_when_the_host_says_nothing_more() -> None:
    parts = told()["components"]
    assert {name for name, part in parts.items() if "expire_after" in part} == {"visits", "watched_s", "verdict"}


def test_it_is_told_once_on_each_connection() -> None:
    announcements = Announcements(DiscoverySection(), 300.0)
    said = [announcements.news(LURING, connection) is not None for connection in (1, 1, 1, 2, 2)]
    assert said == [True, False, False, True, False]


def test_a_change_of_the_plan_is_told() -> None:
    announcements = Announcements(DiscoverySection(), 300.0)
    announcements.news(LURING, 1)
    news = announcements.news(replace(LURING, role=Role.CONTROL), 1)
    assert news is not None
    assert json.loads(news[1])["device"]["model"] == "control station"


@pytest.mark.parametrize("phase", [Phase.CLOSED, Phase.ABANDONED])
def test_a_station_whose_job_has_ended_is_taken_away(phase: Phase) -> None:
    announcements = Announcements(DiscoverySection(), 300.0)
    announcements.news(LURING, 1)
    assert announcements.news(replace(LURING, phase=phase), 1) == (TOPIC, b"")


def test_without_the_section_nothing_is_told() -> None:
    assert Announcements(None, 300.0).news(LURING, 1) is None


def test_switched_off_it_takes_back_what_was_told() -> None:
    assert Announcements(DiscoverySection(enabled=False), 300.0).news(LURING, 1) == (TOPIC, b"")


def config(text: str) -> Config:
    return parse_config(f'[broker]\nhost = "192.0.2.10"\n{text}', Path("host.toml"))


def test_it_is_off_unless_the_configuration_says_otherwise() -> None:
    assert config("").discovery is None
    assert config("[discovery]").discovery == DiscoverySection(enabled=True, prefix="homeassistant")


@pytest.mark.parametrize("prefix", ["", "/", "a//b", "a/", "+", "#", "swap bell", "a/#"])
def test_a_prefix_that_is_no_topic_is_refused(prefix: str) -> None:
    with pytest.raises(Mistake, match="discovery"):
        config(f'[discovery]\nprefix = "{prefix}"')


class Home:
    """Home automation as far as the broker sees it: hears all below the prefix, the kept messages first."""

    def __init__(self, port: int) -> None:
        self.kept: dict[str, bytes] = {}
        self._client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
        self._client.on_message = lambda _c, _d, message: self.kept.update({message.topic: bytes(message.payload)})
        self._client.on_connect = lambda client, *_: client.subscribe("home/#", 1)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


@contextmanager
def home(port: int) -> Iterator[Home]:
    found = Home(port)
    yield found
    found.close()


@contextmanager
def host(folder: Path, port: int, section: str) -> Iterator[None]:
    station = f'[[station]]\nsite = "{SITE}"\nname = "{STATION}"\n'
    text = f'[broker]\nhost = "127.0.0.1"\nport = {port}\n{station}[discovery]\nprefix = "home"\n{section}'
    stop, found = threading.Event(), parse_config(text, folder / "host.toml")
    thread = threading.Thread(target=serve, args=(found, lambda: datetime.now(UTC), stop, lambda _: None))
    thread.start()
    yield
    stop.set()
    thread.join()


@pytest.mark.part("mosquitto")
def test_a_real_broker_keeps_it_and_gives_it_up_when_it_is_switched_off(tmp_path: Path, broker: Broker) -> None:
    where = "home/device/swapbell-orchard/north/config"
    with host(tmp_path, broker.port, ""), home(broker.port) as listening:
        assert eventually(lambda: where in listening.kept)
    with home(broker.port) as later:  # the host is gone, what it said is kept
        assert eventually(lambda: where in later.kept)
        jsonschema.Draft202012Validator(FORM).validate(json.loads(later.kept[where]))
    with host(tmp_path, broker.port, "enabled = false"), home(broker.port) as listening:
        assert eventually(lambda: listening.kept.get(where) == b"")
    with home(broker.port) as later:
        time.sleep(0.3)
        assert later.kept == {}


@pytest.mark.part("mosquitto")
def test_a_broker_that_forgot_is_told_again(tmp_path: Path, broker: Broker) -> None:
    with host(tmp_path, broker.port, ""):
        with home(broker.port) as listening:
            assert eventually(lambda: bool(listening.kept))
        broker.restart()  # killed: what it had kept since its last save is lost
        with home(broker.port) as listening:
            assert eventually(lambda: bool(listening.kept), 40.0)
