"""The counter as a service: a unit that systemd takes, and word to systemd while it runs."""

import os
import re
import signal
import socket
import subprocess
import time
from collections.abc import Generator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path

import pytest
from clips import STATION
from drawn_counter import COMMAND, CONFIG, configured
from spooled import opened

from swapbell_device.config import read_config
from swapbell_device.run import memory
from swapbell_device.service.manager import Manager
from swapbell_device.service.unit import Unit, install, named, unit
from swapbell_models.fault import Mistake
from swapbell_models.message import decode
from swapbell_models.tally import Tally

# What the plan asks of the unit; systemd-analyze(1) counts from 0 (nothing is open) to 10.
EXPOSURE_MAX = 2.0


@pytest.fixture
def made(tmp_path: Path) -> Unit:
    path = configured(tmp_path, 1883)
    return unit(path, read_config(path), "kim", tmp_path)


def analyzed(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(["systemd-analyze", *arguments], capture_output=True, text=True, check=False)


@pytest.mark.part("systemd-analyze")
def test_the_units_exposure_is_within_the_goal(made: Unit) -> None:
    install(made)
    told = analyzed("security", "--offline=true", "--no-pager", str(made.path)).stdout
    exposure = re.search(r"Overall exposure level for \S+: ([0-9.]+)", told)
    assert exposure
    assert float(exposure[1]) <= EXPOSURE_MAX


@pytest.mark.part("systemd-analyze")
def test_systemd_finds_nothing_wrong_with_the_unit(made: Unit) -> None:
    install(made)
    told = analyzed("verify", "--man=no", str(made.path))
    assert [
        line for line in told.stderr.splitlines() if made.path.name in line and "not executable" not in line
    ] == []


def test_the_unit_runs_as_its_user_and_writes_only_where_the_spool_is(made: Unit, tmp_path: Path) -> None:
    assert "User=kim" in made.text
    assert f"ReadWritePaths={tmp_path}\n" in made.text
    assert made.path.name == "swapbell-orchard-north.service"


def test_the_unit_keeps_the_newest_tallies_in_memory_for_the_next_start(made: Unit) -> None:
    assert (
        "RuntimeDirectory=swapbell-orchard-north\nRuntimeDirectoryMode=0700\nRuntimeDirectoryPreserve=yes\n"
        in made.text
    )
    assert memory({"RUNTIME_DIRECTORY": "/run/swapbell-orchard-north"}) == Path("/run/swapbell-orchard-north")


def test_the_unit_lets_the_counter_ask_whether_the_clock_is_set(made: Unit) -> None:
    filters = [line for line in made.text.splitlines() if line.startswith("SystemCallFilter=")]
    assert filters[-1] == "SystemCallFilter=adjtimex clock_adjtime"
    assert "\nProtectClock" not in made.text


def directive(made: Unit, name: str) -> list[str]:
    return [line.partition("=")[2] for line in made.text.splitlines() if line.startswith(f"{name}=")]


def test_the_unit_lets_the_cameras_library_ask_udev(made: Unit) -> None:
    assert "AF_NETLINK" in directive(made, "RestrictAddressFamilies")[0].split()


def test_a_usb_camera_may_be_plugged_in_after_the_start(made: Unit) -> None:
    """What DeviceAllow names by its kind must be known to the kernel by then."""
    assert "modprobe@videodev.service" in directive(made, "After")[0].split()
    assert directive(made, "Wants") == ["modprobe@videodev.service"]
    assert "char-video4linux rw" in directive(made, "DeviceAllow")


def with_evidence(folder: Path, path: Path) -> Unit:
    written = configured(folder, 1883)
    written.write_text(written.read_text() + f'[evidence]\npath = "{path}"\n')
    return unit(written, read_config(written), "kim", folder)


def test_the_unit_writes_where_evidence_is_kept_too(tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (tmp_path / "station").mkdir()
    made = with_evidence(tmp_path / "station", elsewhere)
    assert directive(made, "ReadWritePaths") == [f"{tmp_path / 'station'} {elsewhere}"]


def test_evidence_beside_the_spool_needs_no_folder_of_its_own(tmp_path: Path) -> None:
    made = with_evidence(tmp_path, tmp_path / "evidence")
    assert directive(made, "ReadWritePaths") == [str(tmp_path)]


def test_a_folder_for_evidence_that_is_not_there_is_named_before_the_service_fails_for_it(tmp_path: Path) -> None:
    (tmp_path / "station").mkdir()
    with pytest.raises(Mistake, match=r"evidence\.path .*elsewhere: there is no such folder; create it"):
        with_evidence(tmp_path / "station", tmp_path / "elsewhere")


@pytest.mark.parametrize(("number", "said"), [(0, "belongs to root"), (4_000_000, "has no name here")])
def test_a_configuration_of_root_or_of_nobody_is_not_installed(number: int, said: str) -> None:
    with pytest.raises(Mistake, match=said):
        named(number, Path("device.toml"))


def test_a_path_that_systemd_would_misread_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a %b").mkdir()
    path = configured(tmp_path / "a %b", 1883)
    with pytest.raises(Mistake, match="systemd would misread it"):
        unit(path, read_config(path), "kim", tmp_path)


def listening(path: Path) -> socket.socket:
    line = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    line.bind(str(path))
    line.settimeout(20.0)
    return line


def test_the_watchdog_hears_often_enough_and_no_oftener(tmp_path: Path) -> None:
    now_s = [0.0]
    with listening(tmp_path / "notify") as line:
        manager = Manager(lambda: now_s[0], {"NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": "60000000"})
        manager.ready()
        for second in range(61):
            now_s[0] = float(second)
            manager.alive()
        manager.stopping()
        assert [line.recv(100) for _ in range(5)] == [b"READY=1", *[b"WATCHDOG=1"] * 3, b"STOPPING=1"]


def test_without_systemd_nothing_is_told() -> None:
    Manager(time.monotonic, {}).ready()


@pytest.mark.parametrize(("order", "words"), [(signal.SIGTERM, [b"READY=1", b"STOPPING=1"])])
def test_a_service_says_that_it_began_and_that_it_ends(
    tmp_path: Path, order: signal.Signals, words: list[bytes]
) -> None:
    path = configured(tmp_path, 9, pace=1.0)
    with listening(tmp_path / "notify") as line:
        environment = os.environ | {"NOTIFY_SOCKET": str(tmp_path / "notify")}
        counter = subprocess.Popen(
            [COMMAND, "run", "--config", str(path)], env=environment, stderr=subprocess.DEVNULL
        )
        first = line.recv(100)
        time.sleep(0.5)
        counter.send_signal(order)
        assert [first, line.recv(100)] == words
        counter.wait(20)


@contextmanager
def counting(path: Path, line: socket.socket, notify: Path) -> Generator[subprocess.Popen[str]]:
    """Yield a counter that has told systemd that it began."""
    environment = os.environ | {"NOTIFY_SOCKET": str(notify)}
    command = [COMMAND, "run", "--config", str(path)]
    with subprocess.Popen(command, env=environment, stderr=subprocess.PIPE, text=True) as counter:
        assert line.recv(100) == b"READY=1"
        yield counter
        counter.kill()


def told_until(counter: subprocess.Popen[str], words: str) -> bool:
    assert counter.stderr
    return any(words in line for line in counter.stderr)


@pytest.mark.parametrize("broken", ["device.toml", "north.toml"])
def test_sighup_changes_nothing_if_the_configuration_or_its_station_file_is_broken(
    tmp_path: Path, broken: str
) -> None:
    text = CONFIG.format(port=9, pace=1.0).replace("starts_at = 2026-02-03T12:00:00Z", 'station_file = "north.toml"')
    (tmp_path / "device.toml").write_text(text.replace('kind = "drawn"\npace = 1.0', 'kind = "usb"'))
    (tmp_path / "north.toml").write_text(STATION)
    notify = tmp_path / "notify"
    with listening(notify) as line, counting(tmp_path / "device.toml", line, notify) as counter:
        (tmp_path / broken).write_text("nonsense = 1\n")
        counter.send_signal(signal.SIGHUP)
        assert told_until(counter, "the configuration before is kept")
        counter.send_signal(signal.SIGTERM)
        assert line.recv(100) == b"STOPPING=1"
        assert counter.wait(30) == 0


def test_sighup_changes_nothing_if_the_spool_has_no_folder(tmp_path: Path) -> None:
    path, notify = configured(tmp_path, 9, pace=1.0), tmp_path / "notify"
    with listening(notify) as line, counting(path, line, notify) as counter:
        path.write_text(path.read_text().replace("spool.sqlite", "nowhere/spool.sqlite"))
        counter.send_signal(signal.SIGHUP)
        assert told_until(counter, "the configuration before is kept")
        counter.send_signal(signal.SIGTERM)
        assert counter.wait(30) == 0


def test_sighup_begins_anew_with_a_configuration_that_can_be_used(tmp_path: Path) -> None:
    path, notify = configured(tmp_path, 9, pace=1.0), tmp_path / "notify"
    with listening(notify) as line, counting(path, line, notify) as counter:
        path.write_text(path.read_text().replace('station = "north"', 'station = "south"'))
        counter.send_signal(signal.SIGHUP)
        assert line.recv(100) == b"READY=1"
        counter.send_signal(signal.SIGTERM)
        assert told_until(counter, "orchard/south ended")


USB = """trusts_clock = true
site = "orchard"
station = "north"
station_file = "north.toml"
[camera]
kind = "usb"
device = "/dev/video99"
[broker]
host = "127.0.0.1"
port = 9
[spool]
path = "spool.sqlite"
"""


def test_time_that_reading_the_configuration_anew_takes_is_told_as_unwatched(tmp_path: Path) -> None:
    (tmp_path / "device.toml").write_text(USB)
    (tmp_path / "north.toml").write_text(STATION)
    notify = tmp_path / "notify"
    with listening(notify) as line, counting(tmp_path / "device.toml", line, notify) as counter:
        assert told_until(counter, "it is opened again in")
        time.sleep(1.5)
        counter.send_signal(signal.SIGHUP)
        assert line.recv(100) == b"READY=1"
        time.sleep(1.5)
        counter.send_signal(signal.SIGTERM)
        counter.wait(30)
    with opened(tmp_path / "spool.sqlite") as spool:
        before, after = (decode(entry.payload, Tally) for entry in spool.pending(10))
    assert before.boot != after.boot
    assert abs(after.from_at - before.to_at) < timedelta(seconds=0.1)
    assert (after.up_s, after.watched_s) == (0.0, 0.0)
