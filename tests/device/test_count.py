import json
import os
import pty
import re
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import clips
import numpy as np
import pytest
from listener import eventually
from msgspec.structs import replace

from swapbell_device.camera import Camera
from swapbell_device.count import VIDEO_ENDINGS, Wish, event
from swapbell_device.count import count as count_here
from swapbell_device.moment import Moment
from swapbell_device.overlay import Overlay
from swapbell_device.stationfile import StationFile
from swapbell_models.fault import Mistake
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Crossing, Direction

RUN = "from swapbell_device.main import run; run()"
COMMAND = [sys.executable, "-c", RUN, "count"]
# Whoever runs the tests may be deaf to Ctrl-C, and a child would inherit that.
HEARS = "import signal; signal.signal(signal.SIGINT, signal.default_int_handler)"
INTERRUPTIBLE = [sys.executable, "-c", f"{HEARS}; {RUN}", "count"]


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
    assert [list(event)[:4] for event in events] == [["t_s", "direction", "size", "length_mm"]] * 2
    assert [(event["direction"], event["size"]) for event in events] == [("in", "wasp"), ("out", "wasp")]
    assert [event["t_s"] for event in events] == pytest.approx([2.98, 3.98], abs=0.1)
    assert [event["length_mm"] for event in events] == pytest.approx([13.0, 13.0], abs=1.0)


def test_how_sure_the_counter_is_follows_where_it_is_known() -> None:
    passed = Crossing(at_s=1.5, direction=Direction.IN, size=SizeClass.WASP, length_mm=13.0)
    assert list(json.loads(event(passed))) == ["t_s", "direction", "size", "length_mm"]
    sure = json.loads(event(replace(passed, confidence=0.876)))
    assert list(sure) == ["t_s", "direction", "size", "length_mm", "confidence"]
    assert sure["confidence"] == 0.88


def test_a_clip_at_which_nobody_can_count_says_so(station: Path, tmp_path: Path) -> None:
    dark = clips.write_clip(tmp_path / "dark.avi", [np.full((240, 320), 2, np.uint8)] * 200)
    done = count(dark, "--station", station)
    assert (done.returncode, done.stdout) == (0, "")
    assert "for 10 of 10 s nobody can count at such a view (light 10 s)" in done.stderr


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


def test_a_terminal_shows_how_far_it_is(clip: Path, station: Path) -> None:
    ours, theirs = pty.openpty()
    words = [*COMMAND, str(clip), "--station", str(station)]
    done = subprocess.run(words, stdout=subprocess.PIPE, stderr=theirs, check=True, timeout=60)
    shown = os.read(ours, 65536).decode()
    os.close(theirs)
    os.close(ours)
    assert done.stdout.count(b"\n") == 2
    assert re.search(r"counting.*100%", shown)


def test_a_clip_that_ends_early_leaves_no_file(clip: Path, station: Path, tmp_path: Path) -> None:
    raw = clip.read_bytes()
    clip.write_bytes(raw[: len(raw) // 2])
    done = count(clip, "--station", station, "--events", tmp_path / "e.jsonl", "--video", tmp_path / "v.mp4")
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "ends early" in done.stderr
    assert sorted(path.name for path in tmp_path.iterdir()) == ["clip.avi", "station.toml"]


def test_times_of_a_longer_clip_leave_no_file(clip: Path, station: Path, tmp_path: Path) -> None:
    (tmp_path / "times.txt").write_text("".join(f"{i / 20.0}\n" for i in range(121)))
    words = ["--times", tmp_path / "times.txt", "--events", tmp_path / "e.jsonl", "--video", tmp_path / "v.mp4"]
    done = count(clip, "--station", station, *words)
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    assert "holds 121 times" in done.stderr
    assert set(files(tmp_path)) == {"clip.avi", "station.toml", "times.txt"}


def test_a_missing_folder_for_the_events_is_named(clip: Path, station: Path, tmp_path: Path) -> None:
    done = count(clip, "--station", station, "--events", tmp_path / "gone" / "e.jsonl")
    assert done.returncode == 2
    assert "does not exist" in done.stderr


def files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


@pytest.fixture
def times(tmp_path: Path) -> Path:
    path = tmp_path / "times.txt"
    path.write_text("".join(f"{frame / 20.0}\n" for frame in range(120)))
    return path


@pytest.mark.parametrize("option", ["--events", "--video"])
@pytest.mark.parametrize(
    ("name", "what"),
    [("clip.avi", "the clip"), ("station.toml", "the station file"), ("times.txt", "the times file")],
)
def test_what_is_read_is_never_overwritten(
    clip: Path, station: Path, times: Path, tmp_path: Path, option: str, name: str, what: str
) -> None:
    before, result = files(tmp_path), tmp_path / "." / name
    done = count(clip, "--station", station, "--times", times, option, result)
    assert (done.returncode, done.stderr) == (2, f"{option} {result}: that is {what}; choose another name\n")
    assert files(tmp_path) == before


@pytest.mark.parametrize("link", [Path.symlink_to, Path.hardlink_to])
def test_another_name_for_the_clip_is_the_clip(
    clip: Path, station: Path, tmp_path: Path, link: Callable[[Path, Path], None]
) -> None:
    link(tmp_path / "events.jsonl", clip)
    before = files(tmp_path)
    done = count(clip, "--station", station, "--events", tmp_path / "events.jsonl")
    assert (done.returncode, "that is the clip" in done.stderr) == (2, True)
    assert files(tmp_path) == before


def test_events_and_video_need_two_files(clip: Path, station: Path, tmp_path: Path) -> None:
    done = count(clip, "--station", station, "--events", tmp_path / "seen.mp4", "--video", tmp_path / "seen.mp4")
    assert (done.returncode, "that is the file of --events" in done.stderr) == (2, True)
    assert set(files(tmp_path)) == {"clip.avi", "station.toml"}


@pytest.mark.parametrize(
    ("option", "place", "says"),
    [
        ("--events", "", "this is a folder; name a file in it"),
        ("--video", "", "this is a folder; name a file in it"),
        ("--events", "gone/e.jsonl", "does not exist"),
        ("--video", "gone/v.mp4", "does not exist"),
        ("--events", "pipe", "no ordinary file"),
        ("--video", "seen.gif", "end its name in one of .mp4"),
        ("--video", "seen", "end its name in one of .mp4"),
    ],
)
def test_a_place_where_nothing_can_be_written_is_refused_before_counting(
    station: Path, tmp_path: Path, option: str, place: str, says: str
) -> None:
    os.mkfifo(tmp_path / "pipe")
    wish = {"--events": None, "--video": None} | {option: tmp_path / place}

    def watch(camera: Camera, station: StationFile) -> Iterator[Moment]:
        raise AssertionError("it began to count")

    with pytest.raises(Mistake) as refused:
        count_here(Wish(tmp_path / "clip.avi", station, wish["--events"], None, wish["--video"]), watch)
    assert says in str(refused.value)
    assert str(tmp_path / place) in str(refused.value)


@pytest.mark.parametrize("ending", VIDEO_ENDINGS)
def test_a_video_may_end_in_what_is_said(tmp_path: Path, ending: str) -> None:
    with Overlay(tmp_path / f"seen{ending}", (320, 240), 20.0):
        pass


def test_ctrl_c_ends_with_one_line_and_no_file(station: Path, tmp_path: Path) -> None:
    clip = clips.write_clip(tmp_path / "long.avi", [clips.board()] * 2000)
    words = [
        *INTERRUPTIBLE,
        clip,
        "--station",
        station,
        "--events",
        tmp_path / "e.jsonl",
        "--video",
        tmp_path / "v.mp4",
    ]
    with subprocess.Popen(list(map(str, words)), stderr=subprocess.PIPE, text=True) as counting:
        assert eventually(lambda: any(tmp_path.glob(".v.*.mp4")))
        counting.send_signal(signal.SIGINT)
        _, said = counting.communicate(timeout=60)
    assert (counting.returncode, said) == (130, f"counting {clip} was interrupted; nothing is written\n")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["long.avi", "station.toml"]


def test_a_bad_station_file_ends_with_one_line(clip: Path, tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text("[view]\nmm_per_px = -1\n" + clips.STATION.partition("\n[gate]")[2])
    done = count(clip, "--station", tmp_path / "s.toml")
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
