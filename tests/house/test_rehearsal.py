"""The whole job on one machine, as a newcomer sees it."""

import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

HOST = Path(sys.executable).with_name("swapbell-host")
PATIENCE_S = 120.0


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> "subprocess.CompletedProcess[str]":
    folder = tmp_path_factory.mktemp("rehearsal")
    return subprocess.run(
        [HOST, "rehearse", "--json"], cwd=folder, capture_output=True, text=True, timeout=PATIENCE_S, check=True
    )


@pytest.fixture(scope="module")
def summary(played: "subprocess.CompletedProcess[str]") -> dict[str, Any]:
    return json.loads(played.stdout)


@pytest.fixture
def running(tmp_path: Path) -> "Iterator[subprocess.Popen[str]]":
    rehearsal = subprocess.Popen(
        [HOST, "rehearse"], cwd=tmp_path, stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    yield rehearsal
    rehearsal.kill()
    rehearsal.wait()


def processes_that_name(folder: Path) -> list[str]:
    lines = [path.read_bytes() for path in Path("/proc").glob("[0-9]*/cmdline") if path.exists()]
    return [line.decode(errors="replace") for line in lines if str(folder).encode() in line]


def test_the_counted_visits_are_the_true_ones_within_one_in_thirty(summary: dict[str, Any]) -> None:
    assert summary["counted_visits"] == pytest.approx(summary["true_visits"], abs=2)


def test_the_rule_is_touched_before_it_is_confirmed(summary: dict[str, Any]) -> None:
    assert summary["notices_min"]["touched"] < summary["notices_min"]["ready"]


def test_every_second_was_watched(summary: dict[str, Any]) -> None:
    assert summary["watched_s"] == pytest.approx(summary["seconds"], rel=0.001)


def test_the_alert_says_that_label_and_law_come_first(played: "subprocess.CompletedProcess[str]") -> None:
    assert "label, local law and licensed practice come first" in played.stderr


def test_ledger_and_picture_stay_in_the_folder_of_the_run(summary: dict[str, Any]) -> None:
    assert Path(summary["ledger"]).read_bytes().startswith(b"SQLite format 3")
    assert Path(summary["picture"]).read_bytes().startswith(b"\x89PNG")


def test_the_ledger_can_be_asked_afterwards(summary: dict[str, Any]) -> None:
    config = Path(summary["ledger"]).with_name("host.toml")
    told = subprocess.run(
        [HOST, "status", "--json", "--config", config], capture_output=True, text=True, timeout=PATIENCE_S, check=True
    )
    assert '"ready"' in told.stdout


def test_ctrl_c_stops_station_host_and_broker(running: "subprocess.Popen[str]", tmp_path: Path) -> None:
    assert running.stderr is not None
    until = time.monotonic() + PATIENCE_S
    while "visits in the last 5 minutes" not in running.stderr.readline():
        assert time.monotonic() < until
    running.send_signal(signal.SIGINT)
    _, words = running.communicate(timeout=PATIENCE_S)
    assert running.returncode == 130
    assert words.splitlines()[-1].startswith("stopped")
    assert processes_that_name(tmp_path) == []


def answer(*words: str | Path, folder: Path, **settings: str) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [HOST, "rehearse", *words],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        env={**os.environ, **settings},
        check=False,
    )


def test_a_busy_port_is_one_line_and_exit_2(tmp_path: Path) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = str(other.getsockname()[1])
        done = answer("--port", port, folder=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == f"port {port}: Address already in use; name another, or none for a free one\n"


def test_a_folder_that_cannot_be_made_is_one_line_and_exit_2(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file")
    done = answer("--dir", "taken", folder=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert "Not a directory" in done.stderr
    assert done.stderr.count("\n") == 1


def test_footage_needs_its_station_file(tmp_path: Path) -> None:
    done = answer("--clip", "evening.mp4", folder=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("--clip and --station go together")


def test_a_clip_that_cannot_be_read_is_told_in_the_stations_words(tmp_path: Path) -> None:
    (tmp_path / "clip.mp4").write_text("not a video")
    (tmp_path / "view.toml").write_text(
        "[view]\nmm_per_px = 0.2\n[gate]\nline_px = [[10, 10], [10, 90]]\ninside_px = [50, 50]\n"
    )
    done = answer("--clip", "clip.mp4", "--station", "view.toml", folder=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert "clip.mp4: not a video that can be read" in done.stderr.splitlines()[-1]


@pytest.mark.part("footage")
def test_footage_is_rehearsed_like_a_drawn_station(footage: Path, tmp_path: Path) -> None:
    (tmp_path / "view.toml").write_text(
        "[view]\nmm_per_px = 0.15\n[gate]\nline_px = [[560, 200], [560, 700]]\ninside_px = [760, 450]\n"
    )
    done = answer("--json", "--clip", footage / "flypair_fixed.mp4", "--station", "view.toml", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["counted_visits"] == 2
    assert json.loads(done.stdout)["true_visits"] is None
