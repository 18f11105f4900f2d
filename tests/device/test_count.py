import json
import os
import subprocess
import sys
from pathlib import Path

import clips
import pytest

COMMAND = [sys.executable, "-c", "from swapbell_device.main import run; run()", "count"]


@pytest.fixture
def clip(tmp_path: Path) -> Path:
    ways = [
        clips.walk((20.0, 100.0), (300.0, 100.0), 120),
        [None] * 40 + clips.walk((300.0, 160.0), (20.0, 160.0), 80),
    ]
    return clips.write_clip(tmp_path / "clip.avi", clips.pictures(ways))


@pytest.fixture
def station(tmp_path: Path) -> Path:
    path = tmp_path / "station.toml"
    path.write_text(clips.STATION)
    return path


def count(*words: Path | str) -> subprocess.CompletedProcess[str]:
    environment = os.environ | {"NO_COLOR": "1"}
    return subprocess.run(
        [*COMMAND, *map(str, words)], capture_output=True, text=True, check=False, timeout=60, env=environment
    )


def test_each_crossing_is_one_line_in_time_order(clip: Path, station: Path, tmp_path: Path) -> None:
    done = count(clip, "--station", station, "--events", tmp_path / "events.jsonl")
    events = [json.loads(line) for line in (tmp_path / "events.jsonl").read_text().splitlines()]
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    assert [list(event) for event in events] == [["t_s", "direction", "size", "length_mm"]] * 2
    assert [(event["direction"], event["size"]) for event in events] == [("in", "wasp"), ("out", "wasp")]
    assert [event["t_s"] for event in events] == pytest.approx([2.98, 3.98], abs=0.1)
    assert [event["length_mm"] for event in events] == pytest.approx([13.0, 13.0], abs=1.0)


def test_without_a_file_the_lines_go_to_stdout(clip: Path, station: Path) -> None:
    done = count(clip, "--station", station)
    assert [json.loads(line)["direction"] for line in done.stdout.splitlines()] == ["in", "out"]


def test_bright_bodies_count_like_dark_ones(station: Path, tmp_path: Path) -> None:
    frames = clips.pictures([clips.walk((20.0, 100.0), (300.0, 100.0), 100)])
    bright = clips.write_clip(tmp_path / "bright.avi", [255 - frame for frame in frames])
    assert count(bright, "--station", station).stdout.count('"in"') == 1


def test_given_times_set_the_clock(clip: Path, station: Path, tmp_path: Path) -> None:
    (tmp_path / "times.txt").write_text("".join(f"{7.0 + i / 10.0}\n" for i in range(120)))
    done = count(clip, "--station", station, "--times", tmp_path / "times.txt")
    assert [json.loads(line)["t_s"] for line in done.stdout.splitlines()] == pytest.approx([5.96, 7.96], abs=0.2)


def test_the_video_shows_every_frame(clip: Path, station: Path, tmp_path: Path) -> None:
    count(clip, "--station", station, "--video", tmp_path / "seen.mp4")
    from swapbell_device.camera import Clip

    assert len(list(Clip(tmp_path / "seen.mp4").frames())) == 120


def test_a_clip_that_ends_early_leaves_no_file(clip: Path, station: Path, tmp_path: Path) -> None:
    raw = clip.read_bytes()
    clip.write_bytes(raw[: len(raw) // 2])
    done = count(clip, "--station", station, "--events", tmp_path / "e.jsonl", "--video", tmp_path / "v.mp4")
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "ends early" in done.stderr
    assert sorted(path.name for path in tmp_path.iterdir()) == ["clip.avi", "station.toml"]


def test_a_missing_folder_for_the_events_is_named(clip: Path, station: Path, tmp_path: Path) -> None:
    done = count(clip, "--station", station, "--events", tmp_path / "gone" / "e.jsonl")
    assert done.returncode == 2
    assert "does not exist" in done.stderr


def test_a_bad_station_file_ends_with_one_line(clip: Path, tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text("[view]\nmm_per_px = -1\n" + clips.STATION.partition("\n[gate]")[2])
    done = count(clip, "--station", tmp_path / "s.toml")
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
