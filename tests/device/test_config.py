"""The counter's configuration: short where it can be, strict where it must."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from swapbell_device.config import BrokerSection, ClipCamera, Config, DrawnCamera, parse_config, password, read_config
from swapbell_models.fault import Mistake

HERE = Path("/etc/swapbell/station.toml")
CLIP = """
site = "orchard"
station = "north"
station_file = "gate.toml"
[camera]
kind = "clip"
path = "morning.mp4"
[broker]
host = "localhost"
[spool]
path = "spool.sqlite"
"""
DRAWN = CLIP.replace('kind = "clip"\npath = "morning.mp4"', 'kind = "drawn"\nseed = 7\npace = 30.0')


def parsed(text: str) -> Config:
    return parse_config(text, HERE)


def test_relative_paths_count_from_the_files_folder() -> None:
    config = parsed(CLIP)
    assert config.camera == ClipCamera(path=Path("/etc/swapbell/morning.mp4"))
    assert config.station_file == Path("/etc/swapbell/gate.toml")
    assert config.spool.path == Path("/etc/swapbell/spool.sqlite")


def test_absolute_paths_stay() -> None:
    assert parsed(CLIP.replace("morning.mp4", "/clips/morning.mp4")).camera == ClipCamera(
        path=Path("/clips/morning.mp4")
    )


def test_a_drawn_station_needs_no_station_file() -> None:
    assert parsed(DRAWN.replace('station_file = "gate.toml"', "")).camera == DrawnCamera(seed=7, pace=30.0)


def test_the_defaults_are_a_month_a_gibibyte_and_a_quarter_of_a_minute() -> None:
    config = parsed(CLIP)
    assert (config.spool.keep_days, config.spool.keep_bytes, config.tally_s) == (30.0, 2**30, 15.0)


def test_the_first_frames_time_of_day_may_be_given() -> None:
    config = parsed(f"starts_at = 2026-02-03T12:00:00Z\n{CLIP}")
    assert config.starts_at == datetime(2026, 2, 3, 12, tzinfo=UTC)


@pytest.mark.parametrize(
    ("old", "new", "complaint"),
    [
        ('site = "orchard"', 'sight = "orchard"', "unknown key sight; did you mean site?"),
        ('host = "localhost"', 'hosts = "localhost"', "unknown key broker.hosts; did you mean broker.host?"),
        ('kind = "clip"', 'kind = "clip"\ntime = "x"', "unknown key camera.time; did you mean camera.times?"),
        ('kind = "clip"', 'kind = "clip"\nseed = 3', "unknown key camera.seed"),
        ('kind = "clip"', 'kind = "film"', "Invalid value 'film' - at `camera.kind`"),
        ('kind = "clip"', "", "missing required field `kind` - at `camera`"),
        (
            'path = "spool.sqlite"',
            'path = "s"\nkeep_day = 3',
            "key spool.keep_day; did you mean spool.keep_days?",
        ),
        ('path = "spool.sqlite"', "", "missing required field `path` - at `spool`"),
        ('path = "spool.sqlite"', 'path = "s"\nkeep_days = -1', "Expected `float` > 0.0 - at `spool.keep_days`"),
        ('path = "spool.sqlite"', "path = 3", "spool.path"),
        ('station = "north"', 'station = "no/rth"', "at `station`"),
        ('station = "north"', "", "missing required field `station`"),
        ('host = "localhost"', 'host = "h"\nport = 70000', "at `broker.port`"),
        ('host = "localhost"', "broker = 3\nhost", "not valid TOML"),
        ('host = "localhost"', 'host = "h"\npassword_file = "p"', "password_file needs broker.username"),
        ('station_file = "gate.toml"', "", "this camera needs station_file"),
        ('site = "orchard"', 'site = "o"\nstarts_at = 2026-02-03T12:00:00', "at `starts_at`"),
        ('site = "orchard"', 'site = "o"\ntally_s = nan', "at `tally_s`"),
        ("[camera]", "[[camera]]", "at `camera`"),
    ],
)
def test_what_is_wrong_is_named(old: str, new: str, complaint: str) -> None:
    with pytest.raises(Mistake) as mistake:
        parsed(CLIP.replace(old, new))
    assert str(mistake.value).startswith(f"configuration {HERE}: ")
    assert complaint in str(mistake.value)
    assert "\n" not in str(mistake.value)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(Mistake, match=r"nowhere\.toml: No such file"):
        read_config(tmp_path / "nowhere.toml")


def test_a_file_that_is_no_text_is_named(tmp_path: Path) -> None:
    (tmp_path / "station.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(Mistake, match="not a text file"):
        read_config(tmp_path / "station.toml")


def test_a_password_comes_from_its_file_without_the_line_end(tmp_path: Path) -> None:
    (tmp_path / "password").write_text("three words here \n")
    assert password(BrokerSection(host="h", password_file=tmp_path / "password")) == "three words here "


def test_no_password_file_is_no_password() -> None:
    assert password(BrokerSection(host="h")) is None


def test_a_missing_password_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(Mistake, match=r"password file .*No such file"):
        password(BrokerSection(host="h", password_file=tmp_path / "password"))


def test_the_time_of_day_of_a_live_camera_is_not_stated() -> None:
    live = CLIP.replace('kind = "clip"\npath = "morning.mp4"', 'kind = "usb"')
    parsed(live)
    with pytest.raises(Mistake, match="starts_at is for what was recorded or drawn"):
        parsed("starts_at = 2026-02-03T12:00:00Z\n" + live)
