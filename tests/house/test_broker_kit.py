"""A broker of one's own: made from the plan, put in place as its script does, and tried as a real mosquitto."""

import getpass
import os
import re
import shutil
import signal
import ssl
import stat
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from mosquitto_child import Broker, free_port
from typer.testing import CliRunner

from swapbell_device.config import parse_config
from swapbell_host.config import BrokerSection
from swapbell_host.kit.settings import HOME, PORT
from swapbell_host.main import app
from swapbell_host.wire.subscriber import Subscriber
from swapbell_models.fault import Mistake
from swapbell_models.message import Subject, topic

PATIENCE_S = 5.0
# Debian's own configuration of mosquitto, with the paths of a test.
DEBIAN = """\
persistence true
persistence_location {folder}/
log_dest file {folder}/mosquitto.log
user {user}
include_dir {folder}/conf.d
"""


def typed(*words: str) -> str:
    done = CliRunner().invoke(app, words)
    assert done.exception is None, done.exception
    return done.stdout


def refused(*words: str) -> str:
    done = CliRunner().invoke(app, words)
    assert isinstance(done.exception, Mistake), done.output
    return str(done.exception)


@pytest.fixture
def planned(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    Path("host.toml").write_text('[broker]\nhost = "192.0.2.10"\n[discovery]\nprefix = "home"\n')
    typed("site", "add", "orchard")
    for name in ("north", "south"):
        typed("station", "add", f"orchard/{name}")
    return tmp_path


@pytest.fixture
def kit(planned: Path) -> Path:
    typed("broker-kit", "kit", "--host", "192.0.2.10", "--host", "127.0.0.1")
    return planned / "kit"


def test_every_station_gets_a_folder_that_its_counter_reads(kit: Path) -> None:
    for name in ("north", "south"):
        folder = kit / "stations" / f"orchard.{name}"
        config = parse_config((folder / "device.toml").read_text(), folder / "device.toml")
        assert (config.broker.host, config.broker.port, config.broker.username) == (
            "192.0.2.10",
            PORT,
            f"orchard.{name}",
        )
        assert config.broker.ca_file is not None
        assert config.broker.ca_file.read_bytes() == (kit / "broker" / "broker-ca.pem").read_bytes()


def test_nobody_else_on_the_machine_reads_it(kit: Path) -> None:
    assert stat.S_IMODE(kit.stat().st_mode) == 0o700
    assert {stat.S_IMODE(path.stat().st_mode) for path in kit.rglob("*") if path.is_file()} == {0o600}


def test_each_secret_is_in_the_one_file_that_needs_it(kit: Path) -> None:
    secrets = [path.read_bytes().strip() for path in kit.rglob("broker.password")]
    assert len(set(secrets)) == 5
    holders = [path for path in kit.rglob("*") if path.is_file() for secret in secrets if secret in path.read_bytes()]
    assert len(holders) == 5
    keys = {path.name for path in kit.rglob("*") if path.is_file() and b"PRIVATE KEY" in path.read_bytes()}
    assert keys == {"ca.key", "broker.key"}


def held(kit: Path) -> dict[str, bytes]:
    return {str(path.relative_to(kit)): path.read_bytes() for path in kit.rglob("*") if path.is_file()}


def test_a_kit_that_is_renewed_gets_a_new_certificate_and_keeps_every_secret(kit: Path) -> None:
    before = held(kit)
    assert "stations/" not in typed("broker-kit", "kit")
    changed = {name for name, content in held(kit).items() if before.get(name) != content}
    assert changed == {"broker/broker.pem"}


def test_a_station_that_is_new_in_the_plan_gets_a_folder_and_nobody_else_anything(kit: Path) -> None:
    before = held(kit)
    typed("station", "add", "orchard/late")
    assert "kit/stations/orchard.late: new; to where it belongs, alone" in typed("broker-kit", "kit")
    changed = {name for name, content in held(kit).items() if before.get(name) != content}
    assert changed == {
        "broker/broker.pem",
        "broker/passwords",
        "broker/access",
        *(f"stations/orchard.late/{file}" for file in ("device.toml", "broker.password", "broker-ca.pem")),
    }
    assert set(before["broker/passwords"].splitlines()) < set(held(kit)["broker/passwords"].splitlines())


def test_a_kit_for_home_automation_that_came_later_gets_its_name(planned: Path) -> None:
    Path("host.toml").write_text('[broker]\nhost = "192.0.2.10"\n')
    typed("broker-kit", "kit", "--host", "192.0.2.10")
    Path("host.toml").write_text('[broker]\nhost = "192.0.2.10"\n[discovery]\nprefix = "home"\n')
    assert "kit/home: new; to where it belongs, alone" in typed("broker-kit", "kit")
    assert "user home" in (planned / "kit" / "broker" / "access").read_text()


def test_a_station_whose_password_got_lost_gets_another(kit: Path) -> None:
    before = held(kit)
    typed("broker-kit", "kit", "--anew", "orchard/north")
    after = held(kit)
    assert after["stations/orchard.north/broker.password"] != before["stations/orchard.north/broker.password"]
    lines = [set(each["broker/passwords"].splitlines()) for each in (before, after)]
    assert {line.partition(b":")[0] for line in lines[0] ^ lines[1]} == {b"orchard.north"}
    assert "nowhere" in refused("broker-kit", "kit", "--anew", "orchard/nowhere")


def test_a_broker_at_another_address_needs_no_new_authority_at_any_station(kit: Path) -> None:
    before = held(kit)
    said = typed("broker-kit", "kit", "--host", "192.0.2.77")
    assert "stations reach the broker as 192.0.2.77 now: at each, say so as host in its device.toml" in said
    assert {name for name, content in held(kit).items() if before[name] != content} == {"broker/broker.pem"}


def test_it_says_until_when_certificate_and_authority_hold(kit: Path) -> None:
    said = typed("broker-kit", "kit")
    years = [int(year) for year in re.findall(r"until (\d{4})-", said)]
    assert years[1] - years[0] == 20


def test_what_was_put_in_a_safe_place_is_asked_for(kit: Path) -> None:
    (kit / "authority" / "ca.key").rename(kit.parent / "safe")
    before = held(kit)
    assert "without authority/ca.key; put that back to renew the kit" in refused("broker-kit", "kit")
    assert held(kit) == before


@pytest.mark.parametrize("place", ["authority/ca.key", "broker/broker.pem", "broker/broker-ca.pem"])
def test_a_damaged_kit_is_not_renewed(kit: Path, place: str) -> None:
    (kit / place).write_bytes(b"nothing")
    before = held(kit)
    assert "put " in refused("broker-kit", "kit")
    assert held(kit) == before


def test_the_key_of_another_authority_is_refused(kit: Path, planned: Path) -> None:
    typed("broker-kit", "other", "--host", "192.0.2.10")
    shutil.copy(planned / "other" / "authority" / "ca.key", kit / "authority" / "ca.key")
    before = held(kit)
    assert "the key is not that of the certificate; put the right one back" in refused("broker-kit", "kit")
    assert held(kit) == before


def test_a_folder_that_is_no_kit_is_left_alone(planned: Path) -> None:
    (planned / "letters").mkdir()
    assert "it is there already" in refused("broker-kit", "letters", "--host", "192.0.2.10")
    assert list((planned / "letters").iterdir()) == []


def test_a_kit_without_a_name_of_its_broker_is_refused(planned: Path) -> None:
    assert refused("broker-kit", "kit").startswith("--host is missing")


@pytest.mark.parametrize(
    ("host", "words"),
    [
        ("127.0.0.1", "no station can reach the broker so"),
        ("localhost", "no station can reach the broker so"),
        ("no host!", "must be a name or an address"),
        ("-x.example", "must be a name or an address"),
        ("", "must be a name or an address"),
    ],
)
def test_a_broker_that_no_station_could_reach_is_refused(planned: Path, host: str, words: str) -> None:
    assert words in refused("broker-kit", "kit", "--host", host)
    assert not (planned / "kit").exists()


@pytest.mark.part("openssl")
@pytest.mark.parametrize("year", [2001, 2045])
def test_its_certificate_holds_for_a_board_without_a_clock_and_for_years(kit: Path, year: int) -> None:
    at = str(int(time.mktime((year, 6, 1, 0, 0, 0, 0, 0, 0))))
    strictly = ["-x509_strict", "-purpose", "sslserver", "-verify_ip", "192.0.2.10", "-attime", at]
    files = ["-CAfile", str(kit / "broker" / "broker-ca.pem"), str(kit / "broker" / "broker.pem")]
    subprocess.run(["openssl", "verify", *strictly, *files], check=True, capture_output=True)


@pytest.mark.part("shellcheck")
def test_its_script_is_sound(kit: Path) -> None:
    subprocess.run(["shellcheck", str(kit / "broker" / "install.sh")], check=True)


@pytest.mark.part("mosquitto")
def test_its_script_puts_the_files_where_the_configuration_looks_for_them(kit: Path, tmp_path: Path) -> None:
    if os.geteuid() != 0:
        pytest.skip("only root gives files away: run it as root")
    system = tmp_path / "system"
    subprocess.run(["sh", str(kit / "broker" / "install.sh")], check=True, env=os.environ | {"DESTDIR": str(system)})
    said = (system / "etc/mosquitto/conf.d/swapbell.conf").read_text()
    named = [line.split()[1] for line in said.splitlines() if line.partition(" ")[2].startswith("/")]
    assert len(named) == 4
    assert [path for path in named if not Path(f"{system}{path}").is_file()] == []
    for secret in ("broker.key", "passwords", "access"):
        file = Path(f"{system}{HOME}/{secret}")
        assert (stat.S_IMODE(file.stat().st_mode), file.owner(), file.group()) == (0o640, "root", "mosquitto")


class Guarded(Broker):
    """The kit's broker on a free port."""

    def __init__(self, folder: Path, kit: Path) -> None:
        self.port, self.folder = free_port(), folder
        self._configuration = folder / "mosquitto.conf"
        self._configuration.write_text(DEBIAN.format(folder=folder, user=getpass.getuser()))
        shutil.copytree(kit / "broker", folder / "swapbell")
        (folder / "conf.d").mkdir()
        said = (kit / "broker" / "broker.conf").read_text()
        said = said.replace(HOME, str(folder / "swapbell")).replace(str(PORT), f"{self.port} 127.0.0.1")
        (folder / "conf.d" / "swapbell.conf").write_text(said)
        self.start()


@pytest.fixture
def guarded(kit: Path, tmp_path: Path) -> Iterator[Guarded]:
    folder = tmp_path / "etc"
    folder.mkdir()
    child = Guarded(folder, kit)
    yield child
    child.kill()


class Guest:
    """A client that signs in by the files of a folder of the kit."""

    def __init__(self, port: int, folder: Path, name: str, *, client: str = "", trusts: Path | None = None) -> None:
        self.heard: list[str] = []
        self.answer: bool | None = None
        self.gone = threading.Event()
        self._in = threading.Event()
        self._client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client)
        self._client.username_pw_set(name, (folder / "broker.password").read_text().strip())
        self._client.tls_set_context(ssl.create_default_context(cafile=trusts or folder / "broker-ca.pem"))
        self._client.on_connect = self._connected
        self._client.on_disconnect = lambda *_: self.gone.set()
        self._client.on_message = lambda _c, _d, message: self.heard.append(message.topic)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        assert self._in.wait(PATIENCE_S)

    def listen(self, pattern: str) -> None:
        done = threading.Event()
        self._client.on_subscribe = lambda *_: done.set()
        self._client.subscribe(pattern, 1)
        assert done.wait(PATIENCE_S)

    def say(self, *topics: str, retain: bool = False) -> None:
        for each in topics:
            self._client.publish(each, b"x", 1, retain).wait_for_publish(PATIENCE_S)

    def hears(self, name: str) -> bool:
        until = time.monotonic() + PATIENCE_S
        while name not in self.heard and time.monotonic() < until:
            time.sleep(0.01)
        return name in self.heard

    def leave(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def _connected(
        self, _client: object, _data: object, _flags: object, code: mqtt.ReasonCode, _more: object
    ) -> None:
        self.answer = not code.is_failure
        self._in.set()


Enter = Callable[..., Guest]


@pytest.fixture
def enter(guarded: Guarded, kit: Path) -> Iterator[Enter]:
    guests: list[Guest] = []

    def come(folder: str, name: str, **how: str) -> Guest:
        guests.append(Guest(guarded.port, kit / folder, name, **how))
        return guests[-1]

    yield come
    for guest in guests:
        guest.leave()


NORTH, SOUTH = ("stations/orchard.north", "orchard.north"), ("stations/orchard.south", "orchard.south")
HOST, VIEWER, AUDITOR = ("host", "host"), ("home", "home"), ("auditor", "auditor")
TALLY, RECEIPT, STANDING, QUESTION, ANSWER = (
    topic("orchard", "north", each)
    for each in (Subject.TALLY, Subject.RECEIPT, Subject.STANDING, Subject.QUESTION, Subject.ANSWER)
)
SOUTH_TALLY = topic("orchard", "south", Subject.TALLY)

mosquitto = pytest.mark.part("mosquitto")


@mosquitto
def test_the_host_hears_a_station_by_the_files_of_the_kit(guarded: Guarded, kit: Path, enter: Enter) -> None:
    section = BrokerSection(
        host="127.0.0.1",
        port=guarded.port,
        username="host",
        password_file=str(kit / "host" / "broker.password"),
        ca_file=str(kit / "host" / "broker-ca.pem"),
    )
    stop, heard = threading.Event(), list[str]()
    with Subscriber(section, {"orchard"}) as host:
        for batch in host.batches(stop):
            if host.connection and not heard:
                enter(*NORTH).say(TALLY)
                heard.append("sent")
            if batch.arrivals:
                assert [each.topic for each in batch.arrivals] == [TALLY]
                stop.set()


@mosquitto
def test_a_station_under_anothers_name_is_refused(enter: Enter) -> None:
    assert enter(NORTH[0], NORTH[1]).answer is True
    assert enter(NORTH[0], SOUTH[1]).answer is False
    assert enter(NORTH[0], "host").answer is False


@mosquitto
def test_a_station_writes_no_topic_of_another(enter: Enter) -> None:
    host, south = enter(*HOST), enter(*SOUTH)
    host.listen("swapbell/#")
    south.say(TALLY, RECEIPT, STANDING, topic("orchard", "south", Subject.RECEIPT), SOUTH_TALLY)
    assert host.hears(SOUTH_TALLY)
    assert host.heard == [SOUTH_TALLY]


@mosquitto
def test_a_station_hears_no_receipt_of_another(enter: Enter) -> None:
    host, north = enter(*HOST), enter(*NORTH)
    north.listen("swapbell/#")
    host.say(topic("orchard", "south", Subject.RECEIPT), RECEIPT)
    assert north.hears(RECEIPT)
    assert north.heard == [RECEIPT]


@mosquitto
def test_a_station_hears_its_own_questions_and_asks_none(enter: Enter) -> None:
    auditor, north, south = enter(*AUDITOR), enter(*NORTH), enter(*SOUTH)
    for each in (auditor, north, south):
        each.listen("swapbell/#")
    south.say(QUESTION, ANSWER)
    auditor.say(QUESTION)
    assert north.hears(QUESTION)
    north.say(ANSWER)
    assert auditor.hears(ANSWER)
    assert (auditor.heard, north.heard, south.heard) == ([ANSWER], [QUESTION], [])


@mosquitto
def test_who_audits_neither_hears_nor_says_anything_else(enter: Enter) -> None:
    auditor, host, north = enter(*AUDITOR), enter(*HOST), enter(*NORTH)
    for each in (auditor, north):
        each.listen("swapbell/#")
    host.listen("swapbell/#")
    auditor.say(RECEIPT, TALLY, STANDING)
    host.say(STANDING, RECEIPT)
    north.say(TALLY, topic("orchard", "north", Subject.HEALTH))
    assert auditor.hears(topic("orchard", "north", Subject.HEALTH))
    assert auditor.heard == [topic("orchard", "north", Subject.HEALTH)]
    assert north.hears(RECEIPT)
    assert host.hears(TALLY)
    assert north.heard == [RECEIPT]
    assert host.heard.count(RECEIPT) == host.heard.count(TALLY) == host.heard.count(STANDING) == 1


@mosquitto
def test_who_audits_does_not_push_the_host_out(enter: Enter) -> None:
    host = enter(*HOST, client="swapbell-host")
    assert enter(*AUDITOR, client="swapbell-host").answer is True
    assert not host.gone.wait(0.5)


@mosquitto
def test_a_station_that_takes_the_hosts_client_name_does_not_push_it_out(enter: Enter) -> None:
    host = enter(*HOST, client="swapbell-host")
    assert enter(*SOUTH, client="swapbell-host").answer is True
    assert not host.gone.wait(0.5)


@mosquitto
def test_home_automation_reads_how_stations_stand_and_tells_them_nothing(enter: Enter) -> None:
    viewer, host, north = enter(*VIEWER), enter(*HOST), enter(*NORTH)
    viewer.listen("#")
    north.listen("swapbell/#")
    viewer.say(RECEIPT, TALLY)
    host.say(RECEIPT, TALLY, STANDING, "home/device/swapbell-orchard/north/config")
    assert viewer.hears("home/device/swapbell-orchard/north/config")
    assert viewer.heard == [STANDING, "home/device/swapbell-orchard/north/config"]
    assert north.hears(RECEIPT)
    assert north.heard == [RECEIPT]


@mosquitto
def test_nobody_comes_in_without_encryption(guarded: Guarded) -> None:
    plain = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
    answers: list[object] = []
    plain.on_connect = lambda *words: answers.append(words)
    plain.connect("127.0.0.1", guarded.port)
    while plain.loop() == mqtt.MQTT_ERR_SUCCESS:
        pass
    assert answers == []


@mosquitto
def test_nobody_comes_in_without_a_name(guarded: Guarded, kit: Path) -> None:
    stranger = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
    stranger.tls_set_context(ssl.create_default_context(cafile=kit / "host" / "broker-ca.pem"))
    answers: list[bool] = []
    stranger.on_connect = lambda _c, _d, _f, code, _p: answers.append(code.is_failure)
    stranger.connect("127.0.0.1", guarded.port)
    while not answers and stranger.loop() == mqtt.MQTT_ERR_SUCCESS:
        pass
    assert answers == [True]


@mosquitto
def test_a_broker_that_another_authority_vouches_for_is_not_believed(enter: Enter, planned: Path) -> None:
    typed("broker-kit", "other", "--host", "192.0.2.10", "--host", "127.0.0.1")
    with pytest.raises(ssl.SSLCertVerificationError):
        enter(*NORTH, trusts=planned / "other" / "broker" / "broker-ca.pem")


@mosquitto
def test_a_renewed_kit_lets_a_later_station_in_at_a_signal_and_parts_from_nobody(
    guarded: Guarded, kit: Path, enter: Enter
) -> None:
    host, north = enter(*HOST), enter(*NORTH)
    host.listen("swapbell/#")
    typed("station", "add", "orchard/late")
    typed("broker-kit", "kit", "--anew", "orchard/south")
    shutil.copytree(kit / "broker", guarded.folder / "swapbell", dirs_exist_ok=True)
    old = ssl.get_server_certificate(("127.0.0.1", guarded.port))
    os.kill(guarded.pid, signal.SIGHUP)
    until = time.monotonic() + PATIENCE_S
    while ssl.get_server_certificate(("127.0.0.1", guarded.port)) == old and time.monotonic() < until:
        time.sleep(0.05)
    assert ssl.get_server_certificate(("127.0.0.1", guarded.port)) != old
    late = topic("orchard", "late", Subject.TALLY)
    enter("stations/orchard.late", "orchard.late").say(late, SOUTH_TALLY)
    assert host.hears(late)
    north.say(TALLY)
    assert host.hears(TALLY)
    assert (host.heard, host.gone.is_set(), north.gone.is_set()) == ([late, TALLY], False, False)
    assert enter(*NORTH, trusts=kit / "stations" / "orchard.north" / "broker-ca.pem").answer is True


def test_the_stations_are_noted_as_enrolled(kit: Path) -> None:
    assert '"enrolled_at":null' not in typed("station", "list", "--json")


def test_without_home_automation_nobody_gets_a_name_for_it(planned: Path) -> None:
    Path("host.toml").write_text('[broker]\nhost = "192.0.2.10"\n')
    typed("broker-kit", "kit", "--host", "192.0.2.10")
    assert "home" not in (planned / "kit" / "broker" / "access").read_text()
    assert not (planned / "kit" / "home").exists()
