import socket
from pathlib import Path

import pytest
from mosquitto_child import Broker

import parts


def answers(port: int) -> bool:
    with socket.socket() as client:
        return client.connect_ex(("127.0.0.1", port)) == 0


@pytest.fixture
def no_wings(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(parts.PARTS, "wings", parts.Part(lambda: False, "grow them"))
    parts.missing.cache_clear()


@pytest.mark.usefixtures("no_wings")
def test_a_missing_part_skips_the_test_with_the_way_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("CI", raising=False)
    with pytest.raises(pytest.skip.Exception, match="wings is not here: grow them"):
        parts.need("wings")


@pytest.mark.usefixtures("no_wings")
def test_a_missing_part_fails_the_test_in_ci(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CI", "true")
    with pytest.raises(pytest.fail.Exception, match="wings is not here: grow them"):
        parts.need("wings")


def test_a_broker_accepts_as_soon_as_it_is_handed_over(broker: Broker) -> None:
    assert answers(broker.port)


def test_a_killed_broker_comes_back_on_its_port(broker: Broker) -> None:
    broker.kill()
    assert not answers(broker.port)
    broker.restart()
    assert answers(broker.port)


@pytest.mark.part("tmpfs")
def test_a_small_disk_fills_up(small_disk: Path) -> None:
    with pytest.raises(OSError, match="No space left"):
        (small_disk / "much").write_bytes(bytes(2_000_000))
