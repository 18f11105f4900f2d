import json
import multiprocessing
import random
import signal
import sqlite3
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from host.running import HOST_TOML, SWAPBELL_HOST, Stubborn, host, ran, stored
from mosquitto_child import Broker
from orchard import Party, run_host, tally, topic_of, visits
from postgres_instead import ledger_at

from swapbell_host.config import read_config
from swapbell_host.main import serve
from swapbell_models.message import NoticeMessage, Receipt, Standing, Subject, encode
from swapbell_models.phase import Phase
from swapbell_models.tally import Hindrance, Sight, Tally

pytestmark = pytest.mark.part("mosquitto")


@pytest.fixture
def host_toml(tmp_path: Path, broker: Broker) -> Path:
    path = tmp_path / "host.toml"
    path.write_text(HOST_TOML.format(port=broker.port, ledger=ledger_at(tmp_path / "ledger.sqlite")))
    return path


def full_windows(tallies: int = 40) -> list[Tally]:
    """Return tallies until now with a visit each; 20 of them are one of the rule's windows."""
    start_at = datetime.now(UTC) - timedelta(seconds=15 * tallies)
    return [tally(seq, start_at=start_at, crossings=visits(1.0)) for seq in range(1, tallies + 1)]


def test_a_tally_is_written_down_and_answered_with_a_receipt(host_toml: Path, broker: Broker) -> None:
    with host(host_toml), Party(broker.port) as station:
        station.send(tally(1, start_at=datetime.now(UTC)))
        receipt = station.wait_for(Subject.RECEIPT, Receipt, lambda receipt: receipt.through == 1)
    assert receipt == Receipt(boot="b1", through=1)


def test_ten_visits_in_five_minutes_are_told_within_two_seconds(host_toml: Path, broker: Broker) -> None:
    start_at = datetime.now(UTC) - timedelta(seconds=150)
    with host(host_toml), Party(broker.port) as station:
        for seq in range(1, 10):
            station.send(tally(seq, start_at=start_at, crossings=visits(1.0)))
        station.wait_for(Subject.RECEIPT, Receipt, lambda receipt: receipt.through == 9)
        assert not station.said(Subject.NOTICE)
        station.send(tally(10, start_at=start_at, crossings=visits(1.0)))
        notice = station.wait_for(Subject.NOTICE, NoticeMessage, lambda _: True, within_s=2.0)
    assert notice.kind == "touched"


def test_two_full_windows_of_three_are_ready(host_toml: Path, broker: Broker) -> None:
    with host(host_toml), Party(broker.port) as station:
        for each in full_windows():
            station.send(each)
        station.wait_for(Subject.NOTICE, NoticeMessage, lambda notice: notice.kind == "ready")
        station.wait_for(Subject.STANDING, Standing, lambda standing: standing.verdict == "ready")


def test_a_counter_that_cannot_count_is_told_and_stands_as_blind(host_toml: Path, broker: Broker) -> None:
    start_at, hidden = datetime.now(UTC) - timedelta(seconds=900), Sight(blind_s=14.0, hindrance=Hindrance.DETAIL)
    with host(host_toml), Party(broker.port) as station:
        for seq in range(1, 61):
            station.send(tally(seq, start_at=start_at, watched_s=1.0, sight=hidden))
        station.wait_for(Subject.STANDING, Standing, lambda shown: shown.hindrance is Hindrance.DETAIL, 20.0)
        told = station.wait_for(Subject.NOTICE, NoticeMessage, lambda notice: notice.kind == "blind", 20.0)
    assert "the lens may be covered" in told.text


def test_a_silence_ends_by_itself_and_the_next_one_is_told(host_toml: Path, broker: Broker) -> None:
    host_toml.write_text(host_toml.read_text() + "silent_after_s = 1.0\n")
    with host(host_toml), Party(broker.port) as station:
        for number in (1, 2):
            station.send(tally(1, boot=f"b{number}", start_at=datetime.now(UTC) - timedelta(seconds=15)))
            # Its turn comes within half a minute.
            station.wait_for(
                Subject.NOTICE, NoticeMessage, lambda notice, number=number: notice.id == number, within_s=40.0
            )
    said = json.loads(ran(host_toml, "status", "--json").stdout)
    assert [each["id"] for each in said["notices"]] == [2]
    assert [each["id"] for each in said["ended"]] == [1]


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGKILL])
def test_a_restart_neither_repeats_nor_forgets_an_alert(host_toml: Path, broker: Broker, how: signal.Signals) -> None:
    with Party(broker.port) as station:
        with host(host_toml) as running:
            for each in full_windows():
                station.send(each)
            ready = station.wait_for(Subject.NOTICE, NoticeMessage, lambda notice: notice.kind == "ready")
            station.wait_for(Subject.RECEIPT, Receipt, lambda receipt: receipt.through == 40)
            running.send_signal(how)
            running.wait(10.0)
        told = len(station.said(Subject.NOTICE))
        with host(host_toml):
            station.send(tally(1, boot="b2", start_at=datetime.now(UTC) - timedelta(seconds=15)))
            station.wait_for(Subject.RECEIPT, Receipt, lambda receipt: receipt.boot == "b2")
            time.sleep(1.5)
        assert len(station.said(Subject.NOTICE)) == told
    assert f"notice {ready.id}, told 1 times" in ran(host_toml, "status").stdout


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT])
def test_a_stopped_host_ends_well(host_toml: Path, how: signal.Signals) -> None:
    with host(host_toml) as running:
        running.send_signal(how)
        assert running.wait(10.0) == 0
        assert running.communicate() == ("", "")


def test_a_host_that_is_killed_again_and_again_loses_nothing_and_takes_nothing_twice(
    host_toml: Path, broker: Broker
) -> None:
    start_at = datetime.now(UTC) - timedelta(hours=2)
    counted = [tally(seq, start_at=start_at, crossings=visits(1.0)) for seq in range(1, 301)]
    nursery = multiprocessing.get_context("forkserver")
    nursery.set_forkserver_preload(
        ["swapbell_host.books.ledger", "swapbell_host.wire.subscriber", "swapbell_host.rota"]
    )
    chance = random.Random(20)
    with Stubborn(broker.port, counted) as station:
        for kills_left in reversed(range(21)):
            running = nursery.Process(target=run_host, args=(str(host_toml),))
            running.start()
            if kills_left:
                time.sleep(chance.uniform(0.0, 1.0))
            else:
                station.party.wait_for(Subject.RECEIPT, Receipt, lambda receipt: receipt.through == 300, 60.0)
            running.kill()
            running.join()
    assert stored(host_toml.parent / "ledger.sqlite") == [(each.seq, 1) for each in counted]


def test_a_clock_that_is_ahead_is_told_in_one_line_and_loses_nothing(host_toml: Path, broker: Broker) -> None:
    ahead_at = datetime.now(UTC) + timedelta(minutes=42, seconds=30)
    with host(host_toml) as running, Party(broker.port) as station:
        for seq in (1, 2):
            station.send(tally(seq, start_at=ahead_at, crossings=visits(*range(12))))
            station.wait_for(Subject.RECEIPT, Receipt, lambda receipt, seq=seq: receipt.through == seq)
            time.sleep(1.0)
        running.terminate()
        said = running.communicate(timeout=10.0)[1]
    assert said.count("clocks: orchard/north: Counts come dated 42 min ahead of this host's clock") == 1
    assert not station.said(Subject.NOTICE)
    assert stored(host_toml.parent / "ledger.sqlite") == [(1, 12), (2, 12)]


STRANGE = [
    (topic_of(Subject.TALLY), b"\xff\xfe"),
    (topic_of(Subject.TALLY), b"<tally/>"),
    (topic_of(Subject.TALLY), encode(tally(1)).replace(b'"v":1', b'"v":2')),
    (topic_of(Subject.TALLY), encode(tally(1, station="south"))),
    (topic_of(Subject.TALLY), b" " * 10_000_000),
    (topic_of(Subject.TALLY, "south"), encode(tally(1, station="south"))),
    (topic_of(Subject.HEALTH), b"{}"),
]


def test_strange_messages_are_kept_and_stop_nobody(host_toml: Path, broker: Broker) -> None:
    with host(host_toml), Party(broker.port) as station:
        for name, payload in STRANGE:
            station.send_raw(name, payload)
        station.send(tally(9, start_at=datetime.now(UTC) - timedelta(hours=1)))
        station.send(tally(8, start_at=datetime.now(UTC) - timedelta(hours=1)))
        station.wait_for(Subject.STANDING, Standing, lambda _: True)
        time.sleep(0.5)
    said = json.loads(ran(host_toml, "status", "--json").stdout)
    assert said["stations"][0]["rejected"] + said["rejected_of_strangers"] == len(STRANGE)
    assert [seq for seq, _ in stored(host_toml.parent / "ledger.sqlite")] == [8, 9]


@pytest.mark.file
def test_a_ledger_that_another_program_holds_is_waited_for_and_nothing_is_acknowledged(
    host_toml: Path, broker: Broker, capsys: pytest.CaptureFixture[str]
) -> None:
    ledger = host_toml.parent / "ledger.sqlite"
    with serving(host_toml), Party(broker.port) as station:
        station.wait_for(Subject.STANDING, Standing, lambda _: True)  # it listens
        station.send(tally(1, start_at=datetime.now(UTC)))
        station.wait_for(Subject.RECEIPT, Receipt, lambda receipt: receipt.through == 1)
        with closing(sqlite3.connect(ledger, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            station.send(tally(2, start_at=datetime.now(UTC)))  # once: it comes again only if nobody acknowledged it
            time.sleep(1.5)
            assert station.received() == 1
        station.wait_for(Subject.RECEIPT, Receipt, lambda receipt: receipt.through == 2, within_s=20.0)
    said = capsys.readouterr().err
    assert said.count("another program holds it") == 1
    assert [seq for seq, _ in stored(ledger)] == [1, 2]


@contextmanager
def serving(config: Path) -> Iterator[None]:
    """Serve in this process, with little patience for a ledger that is held."""
    stop = threading.Event()
    words = (read_config(config), lambda: datetime.now(UTC), stop, lambda _line: None)
    thread = threading.Thread(target=serve, args=words, kwargs={"busy_ms": 100})
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join(20.0)


@pytest.mark.file
@pytest.mark.part("tmpfs")
def test_a_full_disk_ends_the_host_and_loses_nothing(tmp_path: Path, broker: Broker, small_disk: Path) -> None:
    config = tmp_path / "host.toml"
    config.write_text(HOST_TOML.format(port=broker.port, ledger=small_disk / "ledger.sqlite"))
    start_at = datetime.now(UTC) - timedelta(days=1)
    counted = [tally(seq, start_at=start_at, crossings=visits(*[1.0] * 200)) for seq in range(1, 101)]
    with Stubborn(broker.port, counted) as station:
        with host(config) as running:
            assert running.wait(60.0) == 1
            assert "the disk is full; free some space and start again" in running.communicate()[1]
        promised = station.party.received()
        assert len(stored(small_disk / "ledger.sqlite")) >= promised
        subprocess.run(["mount", "-o", "remount,size=16m", str(small_disk)], check=True)
        with host(config):
            station.party.wait_for(Subject.RECEIPT, Receipt, lambda receipt: receipt.through == 100, within_s=60.0)
    assert stored(small_disk / "ledger.sqlite") == [(seq, 200) for seq in range(1, 101)]


def test_a_mistake_in_the_configuration_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "host.toml").write_text("[brokre]\n" + HOST_TOML.format(port=1, ledger="ledger.sqlite"))
    done = ran(tmp_path / "host.toml", "run")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == f"configuration {tmp_path}/host.toml: unknown key brokre; did you mean broker?\n"


def test_a_damaged_ledger_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "host.toml").write_text(HOST_TOML.format(port=1, ledger="ledger.sqlite"))
    (tmp_path / "ledger.sqlite").write_text("not a ledger at all\n" * 100)
    done = ran(tmp_path / "host.toml", "run")
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr == f"ledger {tmp_path}/ledger.sqlite: it is not a ledger; choose another file\n"


def test_a_station_that_is_added_while_the_host_runs_is_heard(host_toml: Path, broker: Broker) -> None:
    with host(host_toml), Party(broker.port) as station:
        assert ran(host_toml, "station", "add", "orchard/east").returncode == 0
        told, until = tally(1, station="east", start_at=datetime.now(UTC)), time.monotonic() + 20.0
        while not station.received() and time.monotonic() < until:  # a station sends again what has no receipt
            station.send(told)
            time.sleep(0.2)
        assert station.received() == 1


def test_toxic_bait_left_out_is_told_until_its_withdrawal_is_logged(host_toml: Path, broker: Broker) -> None:
    day = datetime.now(UTC).date()
    with host(host_toml), Party(broker.port) as station:
        swapped = ran(
            host_toml, "log", "orchard/north", "swapped", "--by", "Kim", "--at", f"{day - timedelta(5)}T06:00Z"
        )
        assert swapped.returncode == 0, swapped.stderr
        notice = station.wait_for(Subject.NOTICE, NoticeMessage, lambda _: True, within_s=30.0)
        assert (notice.kind, notice.urgency) == ("toxic bait left out", "act")
        station.wait_for(Subject.STANDING, Standing, lambda standing: standing.phase is Phase.OVERDUE)
        assert ran(host_toml, "log", "orchard/north", "withdrawn", "--by", "Kim", "--mass", "31").returncode == 0
        station.wait_for(
            Subject.STANDING, Standing, lambda standing: standing.phase is Phase.WITHDRAWN, within_s=30.0
        )
    assert [each["id"] for each in json.loads(ran(host_toml, "status", "--json").stdout)["ended"]] == [notice.id]


def test_a_host_without_a_station_waits_for_the_first(host_toml: Path, broker: Broker) -> None:
    host_toml.write_text(host_toml.read_text().partition("[[station]]")[0])
    command = [SWAPBELL_HOST, "run", "--config", str(host_toml)]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True) as running:
        assert running.stderr is not None
        assert running.stderr.readline() == "no stations yet; add one with `swapbell-host station add`\n"
        assert ran(host_toml, "site", "add", "orchard").returncode == 0
        assert ran(host_toml, "station", "add", "orchard/north").returncode == 0
        assert "listening" in running.stderr.readline()
        running.terminate()
