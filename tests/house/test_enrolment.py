"""An enrolled station gets a configuration that its counter reads, and leave at a real broker for itself alone."""

import shutil
import stat
import subprocess
import threading
from base64 import b64decode
from collections.abc import Callable, Iterator
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from mosquitto_child import Broker
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode
from typer.testing import CliRunner

from swapbell_device.config import BoardSection, ClipCamera, parse_config, password
from swapbell_host.config import BrokerSection
from swapbell_host.jobs import enrolment
from swapbell_host.main import app

NORTH, SOUTH = ("orchard", "north"), ("orchard", "south")
PASSWORD, SALT = "a password, invented", bytes(range(12))
HOST_TOML = '[broker]\nhost = "{host}"\nport = 1884\n{more}'
PATIENCE_S = 5.0


def typed(*words: str) -> str:
    done = CliRunner().invoke(app, words)
    assert done.exception is None, done.exception
    return done.stdout


@pytest.fixture
def enrolled(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[str, Path]:
    """Return what the command says, and the station's folder."""
    monkeypatch.chdir(tmp_path)
    Path("host.toml").write_text(HOST_TOML.format(host="192.0.2.10", more='ca_file = "ca.pem"'))
    Path("ca.pem").write_text("a certificate, invented")
    typed("site", "add", "orchard")
    typed("station", "add", "orchard/north")
    return typed("station", "enrol", "orchard/north", "--clip", 'a "clip".mp4'), Path("enrolled/orchard.north")


def test_the_counter_reads_the_configuration_that_enrolment_makes(enrolled: tuple[str, Path]) -> None:
    said, folder = enrolled
    path = folder / "device.toml"
    config = parse_config(path.read_text(), path)
    assert (config.site, config.station) == NORTH
    assert (config.broker.host, config.broker.port, config.broker.username) == ("192.0.2.10", 1884, "orchard.north")
    assert password(config.broker) in said.splitlines()
    assert config.broker.ca_file is not None
    assert config.broker.ca_file.read_text() == "a certificate, invented"
    assert config.camera == ClipCamera(path=folder.resolve() / 'a "clip".mp4')


def test_nobody_else_on_the_machine_reads_the_password(enrolled: tuple[str, Path]) -> None:
    _, folder = enrolled
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert stat.S_IMODE((folder / "broker.password").stat().st_mode) == 0o600


def test_the_password_is_in_no_other_file(enrolled: tuple[str, Path]) -> None:
    secret = (enrolled[1] / "broker.password").read_bytes().strip()
    holders = [path.name for path in Path().rglob("*") if path.is_file() and secret in path.read_bytes()]
    assert holders == ["broker.password"]


def test_a_second_enrolment_overwrites_nothing(enrolled: tuple[str, Path]) -> None:
    before = (enrolled[1] / "broker.password").read_bytes()
    done = CliRunner().invoke(app, ("station", "enrol", "orchard/north"))
    assert "folder enrolled/orchard.north: it is there already" in str(done.exception)
    assert (enrolled[1] / "broker.password").read_bytes() == before


def test_a_broker_on_this_machine_is_named_as_the_station_reaches_it(enrolled: tuple[str, Path]) -> None:
    Path("host.toml").write_text(HOST_TOML.format(host="localhost", more=""))
    done = CliRunner().invoke(app, ("station", "enrol", "orchard/north", "--dir", "other"))
    assert "a station cannot reach it so; say its name or address there, as by --broker" in str(done.exception)
    typed("station", "enrol", "orchard/north", "--dir", "other", "--broker", "192.0.2.11")
    config = parse_config(Path("other/orchard.north/device.toml").read_text(), Path("device.toml"))
    assert (config.broker.host, config.broker.ca_file) == ("192.0.2.11", None)


def test_whatever_stands_in_a_text_is_quoted() -> None:
    for text in ('a "b" \\ c', "🐝", "\x01\x7f", "# x"):
        config = enrolment.device_config(NORTH, BrokerSection(host=text), "clip.mp4")
        assert parse_config(config, Path("device.toml")).broker.host == text


@pytest.mark.part("mosquitto")
def test_a_password_is_hashed_as_mosquittos_own_program_does(tmp_path: Path) -> None:
    program = shutil.which("mosquitto_passwd")
    assert program is not None
    subprocess.run([program, "-c", "-b", str(tmp_path / "theirs"), "orchard.north", PASSWORD], check=True)
    theirs = (tmp_path / "theirs").read_text().strip()
    salt = b64decode(theirs.split("$")[3])
    assert (len(salt), enrolment.credentials(NORTH, PASSWORD, salt).password_line) == (enrolment.SALT_BYTES, theirs)


@pytest.fixture
def guarded(broker: Broker) -> Broker:
    """Return a broker that knows two stations and a host, who may read all."""
    north, south = enrolment.credentials(NORTH, PASSWORD, SALT), enrolment.credentials(SOUTH, "other", SALT)
    host = enrolment.credentials(("the", "host"), "host", SALT)
    (broker.folder / "passwords").write_text("".join(f"{each.password_line}\n" for each in (north, south, host)))
    access = [*north.access_lines, *south.access_lines, f"user {host.username}", "topic readwrite swapbell/#"]
    (broker.folder / "access").write_text("\n".join(access) + "\n")
    path = broker.folder / "mosquitto.conf"
    files = f"password_file {broker.folder}/passwords\nacl_file {broker.folder}/access"
    path.write_text(path.read_text().replace("allow_anonymous true", f"allow_anonymous false\n{files}"))
    broker.restart()
    return broker


class Guest:
    """A client that signs in, says things, and hears what the broker lets it hear."""

    def __init__(self, port: int, name: str, secret: str, *topics: str) -> None:
        self.heard: list[str] = []
        self.answer: ReasonCode | None = None
        self._in, self._signed_up, self._news = threading.Event(), threading.Event(), threading.Condition()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2)
        self._client.username_pw_set(name, secret)
        self._client.on_connect = self._connected
        self._client.on_message = self._message
        self._client.on_subscribe = lambda *_: self._signed_up.set()
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        assert self._in.wait(PATIENCE_S)
        for topic in topics:
            self._client.subscribe(topic, 1)
            assert self._signed_up.wait(PATIENCE_S)

    def say(self, *topics: str) -> None:
        for topic in topics:
            self._client.publish(topic, b"x", 1).wait_for_publish(PATIENCE_S)

    def hears(self, topic: str) -> bool:
        with self._news:
            return self._news.wait_for(lambda: topic in self.heard, PATIENCE_S)

    def leave(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def _connected(self, _client: object, _data: object, _flags: object, answer: ReasonCode, _more: object) -> None:
        self.answer = answer
        self._in.set()

    def _message(self, _client: object, _data: object, message: mqtt.MQTTMessage) -> None:
        with self._news:
            self.heard.append(message.topic)
            self._news.notify_all()


Enter = Callable[..., Guest]


@pytest.fixture
def enter(guarded: Broker) -> Iterator[Enter]:
    guests: list[Guest] = []

    def come(*words: str) -> Guest:
        guests.append(Guest(guarded.port, *words))
        return guests[-1]

    yield come
    for guest in guests:
        guest.leave()


def test_only_the_right_password_lets_a_station_in(enter: Enter) -> None:
    assert not enter("orchard.north", PASSWORD).answer.is_failure
    assert enter("orchard.north", "other").answer.is_failure


def test_a_station_writes_its_own_topics_and_no_others(enter: Enter) -> None:
    host, station = enter("the.host", "host", "swapbell/#"), enter("orchard.north", PASSWORD)
    own = ["swapbell/1/orchard/north/tally", "swapbell/1/orchard/north/health"]
    station.say(
        "swapbell/1/orchard/south/tally", "swapbell/1/orchard/north/receipt", "swapbell/1/orchard/x/notice", *own
    )
    assert host.hears(own[-1])
    assert host.heard == own


def test_a_station_hears_its_own_receipts_and_no_others(enter: Enter) -> None:
    station, host = enter("orchard.north", PASSWORD, "swapbell/#"), enter("the.host", "host")
    host.say(
        "swapbell/1/orchard/south/receipt",
        "swapbell/1/orchard/north/tally",
        "swapbell/1/orchard/north/notice",
        "swapbell/1/orchard/north/receipt",
    )
    assert station.hears("swapbell/1/orchard/north/receipt")
    assert station.heard == ["swapbell/1/orchard/north/receipt"]


def test_a_station_that_is_given_no_clip_counts_what_its_boards_camera_sees() -> None:
    text = enrolment.device_config(NORTH, BrokerSection(host="192.0.2.10"))
    assert parse_config(text, Path("device.toml")).camera == BoardSection()
