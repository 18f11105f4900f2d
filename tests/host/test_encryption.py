"""The subscriber with a broker that encrypts, by certificates made for this test."""

import ssl
import subprocess
import threading
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from mosquitto_child import Broker
from orchard import tally, topic_of
from paho.mqtt.enums import CallbackAPIVersion

from swapbell_host.config import BrokerSection
from swapbell_host.wire.subscriber import Subscriber
from swapbell_models.fault import Mistake
from swapbell_models.message import Subject, encode

pytestmark = [pytest.mark.part("mosquitto"), pytest.mark.part("openssl")]

COUNT = 300
LONG = b" " * 1_000_000


def made_certificate(folder: Path, name: str) -> Path:
    """Make a key, and a certificate that vouches for it on loopback."""
    kind = ["req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2"]
    owner = ["-subj", "/CN=127.0.0.1", "-addext", "subjectAltName=IP:127.0.0.1"]
    files = ["-keyout", str(folder / f"{name}.key"), "-out", str(folder / f"{name}.pem")]
    subprocess.run(["openssl", *kind, *owner, *files], check=True, capture_output=True)
    (folder / f"{name}.key").chmod(0o644)
    return folder / f"{name}.pem"


@pytest.fixture
def encrypting(broker: Broker) -> BrokerSection:
    certificate = made_certificate(broker.folder, "broker")
    configuration = broker.folder / "mosquitto.conf"
    listener, rest = configuration.read_text().split("\n", 1)
    secret = f"certfile {certificate}\nkeyfile {certificate.with_suffix('.key')}\n"
    configuration.write_text(f"{listener}\n{secret}{rest}")
    broker.restart()
    return BrokerSection(host="127.0.0.1", port=broker.port, ca_file=str(certificate))


def send(section: BrokerSection) -> None:
    """Publish many tallies and something long, encrypted."""
    client = mqtt.Client(CallbackAPIVersion.VERSION2)
    client.tls_set_context(ssl.create_default_context(cafile=section.ca_file))
    client.connect(section.host, section.port)
    client.loop_start()
    sent = [client.publish(topic_of(Subject.TALLY), encode(tally(seq)), 1) for seq in range(1, COUNT + 1)]
    sent.append(client.publish(topic_of(Subject.TALLY), LONG, 1))
    for each in sent:
        each.wait_for_publish(10.0)
    client.disconnect()
    client.loop_stop()


def test_an_encrypted_broker_brings_the_same(encrypting: BrokerSection) -> None:
    found: list[bytes] = []
    with Subscriber(encrypting, ["orchard"]) as subscriber:
        batches = subscriber.batches(threading.Event())
        while not subscriber.connection:
            next(batches)
        send(encrypting)
        while len(found) <= COUNT:
            batch = next(batches)
            found += [arrival.payload for arrival in batch.arrivals]
            subscriber.ack(batch)
    assert found == [*(encode(tally(seq)) for seq in range(1, COUNT + 1)), LONG]


def test_a_broker_that_nobody_vouches_for_is_a_mistake(encrypting: BrokerSection, tmp_path: Path) -> None:
    stranger = made_certificate(tmp_path, "stranger")
    section = BrokerSection(host="127.0.0.1", port=encrypting.port, ca_file=str(stranger))
    with (
        Subscriber(section, ["orchard"]) as subscriber,
        pytest.raises(Mistake, match="no encryption that ca_file vouches for"),
    ):
        next(subscriber.batches(threading.Event()))
