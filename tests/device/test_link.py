"""The link: every tally arrives, whatever the broker does, and trouble is told once."""

import subprocess
from collections.abc import Generator, Iterator
from contextlib import contextmanager
from pathlib import Path
from unittest.mock import patch

import pytest
from crooked_broker import CONNACK_ACCEPTED, CONNACK_NOT_AUTHORIZED, CrookedBroker
from listener import Listener, eventually
from mosquitto_child import Broker, free_port
from spooled import names, opened, tally

from swapbell_device.config import BrokerSection
from swapbell_device.linking import link as link_module
from swapbell_device.linking.delivery import LIVE, WINDOW, Patience
from swapbell_device.linking.link import BRIEF_MAX, Link
from swapbell_device.spooling.spool import Spool
from swapbell_models.fault import Mistake
from swapbell_models.message import Health, Receipt, StationState, Subject, encode

BRISK = Patience(retry_s=0.05, retry_max_s=0.1, resend_s=0.4, resend_max_s=0.4, health_s=60.0)

pytestmark = pytest.mark.part("mosquitto")


@pytest.fixture
def spool(tmp_path: Path) -> Iterator[Spool]:
    with opened(tmp_path / "spool.sqlite", []) as held:
        yield held


@pytest.fixture
def said() -> list[str]:
    return []


@contextmanager
def linked(port: int, spool: Spool, said: list[str], patience: Patience = BRISK) -> Generator[Link]:
    section = BrokerSection(host="127.0.0.1", port=port)
    with Link(section, "orchard", "north", spool, well, said.append, patience) as link:
        yield link


def well() -> Health:
    return Health(station="north", state=StationState.WATCHING)


def test_a_tally_arrives_and_leaves_the_spool_on_its_receipt(broker: Broker, spool: Spool, said: list[str]) -> None:
    with Listener(broker.port) as host, linked(broker.port, spool, said):
        spool.put(tally(1))
        assert host.hears(1)
        assert eventually(lambda: len(spool) == 0)
    assert host.tallies == [tally(1)]


def test_without_a_receipt_nothing_leaves_the_spool(broker: Broker, spool: Spool, said: list[str]) -> None:
    with Listener(broker.port, receipts=False) as host, linked(broker.port, spool, said):
        spool.put(tally(1))
        assert host.hears(1)
        assert names(spool.pending(10)) == [("b1", 1)]


def test_what_is_not_receipted_is_sent_again(broker: Broker, spool: Spool, said: list[str]) -> None:
    with Listener(broker.port, receipts=False) as host, linked(broker.port, spool, said):
        spool.put(tally(1))
        assert host.hears(2)
    assert set(host.seqs()) == {1}


def test_a_backlog_comes_whole_and_once_the_live_tallies_before_it(
    broker: Broker, spool: Spool, said: list[str]
) -> None:
    last = 3 * WINDOW
    for seq in range(1, last + 1):
        spool.put(tally(seq))
    with Listener(broker.port) as host, linked(broker.port, spool, said, Patience(resend_s=60.0)):
        assert eventually(lambda: len(spool) == 0)
    assert host.seqs() == [*range(last - LIVE + 1, last + 1), *range(1, last - LIVE + 1)]


def test_no_more_than_a_window_is_under_way(broker: Broker, spool: Spool, said: list[str]) -> None:
    for seq in range(1, 2 * WINDOW):
        spool.put(tally(seq))
    with Listener(broker.port, receipts=False) as host, linked(broker.port, spool, said):
        assert host.hears(2 * WINDOW)
    assert len(set(host.seqs())) == WINDOW


def test_a_receipt_that_came_while_the_station_was_away_counts(broker: Broker, spool: Spool, said: list[str]) -> None:
    spool.put(tally(1))
    with Listener(broker.port, receipts=False) as host:
        host.send(Subject.RECEIPT, encode(Receipt(boot="b1", through=1)))
        with linked(broker.port, spool, said):
            assert eventually(lambda: len(spool) == 0)


def test_a_broker_that_is_killed_and_comes_back_costs_nothing(broker: Broker, spool: Spool, said: list[str]) -> None:
    with linked(broker.port, spool, said):
        with Listener(broker.port):
            spool.put(tally(1))
            assert eventually(lambda: len(spool) == 0)
        broker.kill()
        spool.put(tally(1, "b2"))
        assert eventually(lambda: "cannot be reached" in said[-1])
        broker.restart()
        with Listener(broker.port) as host:
            assert eventually(lambda: len(spool) == 0)
    assert {heard.boot for heard in host.tallies} == {"b2"}


def test_states_are_told_once_per_change(broker: Broker, spool: Spool, said: list[str]) -> None:
    with linked(broker.port, spool, said):
        assert eventually(lambda: len(said) == 1)
        broker.kill()
        assert eventually(lambda: "cannot be reached" in said[-1])
        told = len(said)
        assert not eventually(lambda: len(said) > told, patience_s=0.5)
        broker.restart()
        assert eventually(lambda: len(said) > told)
    where = f"broker 127.0.0.1:{broker.port}"
    assert said[0] == said[-1] == f"{where} takes tallies"
    assert said[1] == f"{where}: the connection was lost; counting goes on and tallies wait in the spool"
    assert said[2].startswith(f"{where} cannot be reached")


RIVAL = "another client may be using the name orchard/north; give each station a name of its own"


def ends_with(said: list[str], words: str) -> bool:
    return eventually(lambda: words in "".join(said[-1:]))


def test_two_stations_under_one_name_are_told_so_once(
    broker: Broker, spool: Spool, said: list[str], tmp_path: Path
) -> None:
    told: list[str] = []
    with (
        opened(tmp_path / "other.sqlite", []) as other,
        linked(broker.port, spool, said),
        linked(broker.port, other, told),
    ):
        assert ends_with(said, RIVAL)
        assert ends_with(told, RIVAL)
        before = len(said)
        assert not eventually(lambda: len(said) > before, patience_s=0.5)


@patch.object(link_module, "BRIEF_S", 0.3)
def test_once_the_other_station_has_gone_all_is_well(
    broker: Broker, spool: Spool, said: list[str], tmp_path: Path
) -> None:
    with opened(tmp_path / "other.sqlite", []) as other, linked(broker.port, spool, said):
        with linked(broker.port, other, []):
            assert ends_with(said, RIVAL)
        assert ends_with(said, "takes tallies")


def test_a_broker_that_is_restarted_again_and_again_is_no_other_station(
    broker: Broker, spool: Spool, said: list[str]
) -> None:
    with linked(broker.port, spool, said):
        for _ in range(BRIEF_MAX + 1):
            assert ends_with(said, "takes tallies")
            broker.kill()
            assert ends_with(said, "cannot be reached")
            broker.restart()
        assert ends_with(said, "takes tallies")
    assert RIVAL not in "".join(said)


def test_an_unreachable_broker_is_told_once_and_putting_goes_on(spool: Spool, said: list[str]) -> None:
    with linked(free_port(), spool, said):
        spool.put(tally(1))
        assert eventually(lambda: len(said) > 0)
        assert not eventually(lambda: len(said) > 1, patience_s=0.5)
    assert "cannot be reached" in said[0]
    assert names(spool.pending(10)) == [("b1", 1)]


def test_a_refusal_is_told_once_with_the_way_out(spool: Spool, said: list[str]) -> None:
    spool.put(tally(1))
    with CrookedBroker(CONNACK_NOT_AUTHORIZED) as crooked, linked(crooked.port, spool, said):
        assert eventually(lambda: crooked.connections > 3)
    assert len(said) == 1
    assert "refuses the station (Not authorized); check username and password_file" in said[0]
    assert len(spool) == 1


@pytest.mark.parametrize(
    ("word", "told"), [("right", "takes tallies"), ("wrong", "refuses the station (Not authorized)")]
)
def test_a_real_broker_lets_in_whoever_knows_the_password(
    broker: Broker, spool: Spool, said: list[str], tmp_path: Path, word: str, told: str
) -> None:
    asks_for_passwords(broker, "north", "right")
    (tmp_path / "password").write_text(f"{word}\n")
    section = BrokerSection(host="127.0.0.1", port=broker.port, username="north", password_file=tmp_path / "password")
    with Link(section, "orchard", "north", spool, well, said.append, BRISK):
        assert eventually(lambda: any(told in line for line in said))
    assert len(said) == 1


def asks_for_passwords(broker: Broker, user: str, word: str) -> None:
    known, settings = broker.folder / "passwords", broker.folder / "mosquitto.conf"
    subprocess.run(["mosquitto_passwd", "-b", "-c", str(known), user, word], check=True)
    known.chmod(0o644)
    settings.write_text(settings.read_text().replace("allow_anonymous true", f"password_file {known}"))
    broker.restart()


@pytest.mark.parametrize("hears_bytes", [1, 20, 100, 300])
def test_a_broker_that_drops_in_mid_message_is_told_once_and_nothing_lost(
    spool: Spool, said: list[str], hears_bytes: int
) -> None:
    spool.put(tally(1))
    with CrookedBroker(CONNACK_ACCEPTED, hears_bytes) as crooked, linked(crooked.port, spool, said):
        assert eventually(lambda: crooked.connections > 3)
    assert len(said) == 1
    assert "the connection was lost" in said[0]
    assert len(spool) == 1


@pytest.mark.parametrize(
    "answer", [b"HTTP/1.1 400 Bad Request\r\n\r\n", b"", bytes(range(256)), b"\x30\x05\x00\xff\xff\xff\xff"]
)
def test_a_port_that_speaks_no_mqtt_is_told_once(spool: Spool, said: list[str], answer: bytes) -> None:
    spool.put(tally(1))
    with CrookedBroker(answer) as crooked, linked(crooked.port, spool, said):
        assert eventually(lambda: crooked.connections > 3)
    assert len(said) == 1
    assert "does not answer as an MQTT broker; check host and port" in said[0]


def test_a_broker_that_never_acknowledges_is_left_and_tried_again(spool: Spool, said: list[str]) -> None:
    spool.put(tally(1))
    with CrookedBroker(CONNACK_ACCEPTED, hears_bytes=10**6) as crooked, linked(crooked.port, spool, said):
        assert eventually(lambda: crooked.connections > 1)
    assert "does not acknowledge what it is sent" in said[0]


@pytest.mark.parametrize(
    "payload", [b"", b"\xff", b"[]", b'{"v":2,"boot":"b1","through":9}', b'{"boot":"b1","through":-1}']
)
def test_a_malformed_receipt_is_ignored_with_one_line(
    broker: Broker, spool: Spool, said: list[str], payload: bytes
) -> None:
    with Listener(broker.port, receipts=False) as host, linked(broker.port, spool, said):
        spool.put(tally(1))
        assert host.hears(1)
        host.send(Subject.RECEIPT, payload)
        host.send(Subject.RECEIPT, payload)
        assert eventually(lambda: "a receipt that is none" in said[-1])
        assert len(spool) == 1
        host.send(Subject.RECEIPT, encode(Receipt(boot="b1", through=1)))
        assert eventually(lambda: len(spool) == 0)
        assert [("a receipt that is none" in line) for line in said].count(True) == 1


def test_trying_again_and_again_holds_on_to_nothing(spool: Spool, said: list[str]) -> None:
    def descriptors() -> int:
        return len(list(Path("/proc/self/fd").iterdir()))

    hasty = Patience(retry_s=0.01, retry_max_s=0.01)
    with CrookedBroker(CONNACK_ACCEPTED) as crooked, linked(crooked.port, spool, said, hasty):
        assert eventually(lambda: crooked.connections > 3)
        before = descriptors()
        assert eventually(lambda: crooked.connections > 30)
        assert descriptors() <= before + 4


def test_health_is_told_at_once_and_kept_for_whoever_comes_later(
    broker: Broker, spool: Spool, said: list[str]
) -> None:
    with linked(broker.port, spool, said):
        assert eventually(lambda: len(said) == 1)
        with Listener(broker.port) as host:
            assert eventually(lambda: host.states() == ["watching"])


def test_health_comes_again_and_again(broker: Broker, spool: Spool, said: list[str]) -> None:
    with Listener(broker.port) as host, linked(broker.port, spool, said, Patience(health_s=0.2)):
        assert eventually(lambda: host.states()[:3] == ["watching"] * 3)


def test_a_clean_end_says_stopped(broker: Broker, spool: Spool, said: list[str]) -> None:
    with Listener(broker.port) as host:
        with linked(broker.port, spool, said) as link:
            assert eventually(lambda: len(said) == 1)
            link.finish(5.0)
        assert eventually(lambda: host.states() == ["watching", "stopped"])


def test_a_finish_waits_for_the_last_receipt(broker: Broker, spool: Spool, said: list[str]) -> None:
    with Listener(broker.port) as host, linked(broker.port, spool, said) as link:
        spool.put(tally(1))
        link.finish(10.0)
        assert len(spool) == 0
    assert host.seqs() == [1]


def test_a_finish_does_not_wait_for_ever(broker: Broker, spool: Spool, said: list[str]) -> None:
    with linked(broker.port, spool, said) as link:
        spool.put(tally(1))
        link.finish(0.3)
        assert len(spool) == 1


def test_a_finish_with_nobody_there_ends_too(spool: Spool, said: list[str]) -> None:
    with linked(free_port(), spool, said) as link:
        spool.put(tally(1))
        link.finish(0.3)
        assert len(spool) == 1


def test_a_missing_certificate_is_named(tmp_path: Path, spool: Spool, said: list[str]) -> None:
    section = BrokerSection(host="h", ca_file=tmp_path / "ca.pem")
    with pytest.raises(Mistake, match=r"ca_file .*ca\.pem"):
        Link(section, "orchard", "north", spool, well, said.append)
