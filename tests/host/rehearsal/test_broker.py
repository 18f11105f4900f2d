"""The rehearsal's own broker: it starts, it carries, it ends."""

import socket
from collections.abc import Callable
from pathlib import Path

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from swapbell_host.rehearsal import broker
from swapbell_models.fault import Breakdown, Mistake


def carries_a_message(port: int) -> bool:
    client = Client(CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", port)
    client.loop_start()
    sent = client.publish("a/topic", b"word", qos=1)
    sent.wait_for_publish(5.0)
    client.disconnect()
    client.loop_stop()
    return sent.is_published()


def is_open(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


def nowhere(*_: object, **__: object) -> None:
    return None


@pytest.mark.part("mosquitto")
def test_mosquitto_carries_a_message_where_it_is_installed(tmp_path: Path) -> None:
    with broker.loopback_broker(tmp_path) as port:
        assert carries_a_message(port)
    assert (tmp_path / "mosquitto.conf").exists()


def test_amqtt_carries_a_message_where_mosquitto_is_missing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(broker.shutil, "which", nowhere)
    with broker.loopback_broker(tmp_path) as port:
        assert carries_a_message(port)
    assert (tmp_path / "amqtt.yaml").exists()


def test_the_broker_is_gone_when_its_context_ends(tmp_path: Path) -> None:
    with broker.loopback_broker(tmp_path) as port:
        assert is_open(port)
    assert not is_open(port)


def test_a_busy_port_is_the_callers_mistake_and_names_the_port(tmp_path: Path) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(Mistake, match=f"port {port}"), broker.loopback_broker(tmp_path, port):
            pass


def test_a_broker_that_cannot_start_names_its_log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    command: Callable[..., list[str]] = lambda *_: ["false"]  # noqa: E731
    monkeypatch.setattr(broker, "_command", command)
    with pytest.raises(Breakdown, match=r"broker\.log"), broker.loopback_broker(tmp_path):
        pass
