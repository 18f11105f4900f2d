import json
import os
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from importlib.metadata import version
from pathlib import Path

import pytest
from orchard import SITE, STATION, STATIONS, tally, topic_of, visits

from swapbell_host.books.ledger import Ledger
from swapbell_host.books.store import ledger_url
from swapbell_host.config import Config, parse_config
from swapbell_host.intake import Arrival
from swapbell_host.status import lines, read_status
from swapbell_models.message import Health, Held, StationState, Subject, encode
from swapbell_models.notice import Notice, NoticeKind, Urgency
from swapbell_models.readiness import Step
from swapbell_models.tally import Hindrance, Sight

HOST_TOML = """
ledger = "{ledger}"
[broker]
host = "192.0.2.10"
[[station]]
site = "orchard"
name = "north"
[[station]]
site = "orchard"
name = "south"
"""
SWAPBELL_HOST = str(Path(sys.executable).parent / "swapbell-host")
Run = Callable[..., subprocess.CompletedProcess[str]]


def config_of(ledger: str) -> Config:
    return parse_config(HOST_TOML.format(ledger=ledger), Path("host.toml"))


def filled(ledger_name: str, now: datetime) -> None:
    """Leave 20 tallies of which two are missing, something that nobody can read, and an open notice."""
    start_at = now - timedelta(seconds=15.0 * 20)
    told = [tally(seq, start_at=start_at, crossings=visits(1.0)) for seq in range(1, 21) if seq not in {3, 5}]
    health = Health(station=STATION, state=StationState.WATCHING, oldest=(Held(boot="b1", seq=4),))
    batch = [Arrival(topic_of(Subject.TALLY), encode(each)) for each in told]
    batch += [Arrival(topic_of(Subject.HEALTH), encode(health)), Arrival(topic_of(Subject.TALLY), b"?")]
    with Ledger(ledger_url(ledger_name), STATIONS, now) as ledger:
        ledger.record([*batch, Arrival("swapbell/1/orchard/east/tally", b"?")], now)
        ledger.notebook.raise_notice(
            Notice(SITE, STATION, NoticeKind.TOUCHED, Urgency.LOOK, now, "Ten visits in five minutes."), now
        )


def test_a_station_stands_as_its_ledger_says(ledger_name: str) -> None:
    now = datetime.now(UTC)
    filled(ledger_name, now)
    status = read_status(config_of(ledger_name), now)
    north = status.stations[0]
    assert (north.station, north.phase, north.verdict, north.reason) == ("north", "luring", "touched", "")
    assert (north.visits, north.watched_share, north.heard_at, north.said_at) == (18, 0.9, now, now)
    assert (north.missing, north.lost, north.rejected, north.refusal) == (
        1,
        1,
        1,
        "JSON is malformed: invalid character (byte 0)",
    )
    assert [entry.notice.text for entry in status.notices] == ["Ten visits in five minutes."]
    assert status.rejected_of_strangers == 1


def test_of_a_station_that_never_spoke_nothing_is_known(ledger_name: str) -> None:
    south = read_status(config_of(ledger_name), datetime.now(UTC)).stations[1]
    assert (south.verdict, south.reason, south.visits, south.watched_share) == ("unjudged", "silent", None, None)
    assert south.heard_at is None


def hindered(ledger_name: str, now: datetime) -> None:
    """Leave five minutes in which the counter could not count for two seconds of three."""
    start_at, shaken = now - timedelta(seconds=300.0), Sight(blind_s=10.0, hindrance=Hindrance.SHAKE)
    told = [tally(seq, start_at=start_at, watched_s=5.0, sight=shaken) for seq in range(1, 21)]
    with Ledger(ledger_url(ledger_name), STATIONS, now) as ledger:
        ledger.record([Arrival(topic_of(Subject.TALLY), encode(each)) for each in told], now)


def test_a_counter_that_cannot_count_stands_as_blind_with_the_reason(ledger_name: str) -> None:
    now = datetime.now(UTC)
    hindered(ledger_name, now)
    status = read_status(config_of(ledger_name), now)
    north = status.stations[0]
    assert (north.verdict, north.reason, north.hindrance) == ("unjudged", "blind", Hindrance.SHAKE)
    assert (north.visits, north.watched_share) == (0, pytest.approx(1 / 3))
    assert any("the counter cannot count: the camera shakes" in line for line in lines(status, now))


def test_a_night_stands_as_dark_and_without_visits(ledger_name: str) -> None:
    now = datetime.now(UTC)
    hindered(ledger_name, now)
    # On the equator, where it is midnight now.
    longitude_deg = (360.0 - 15.0 * (now.hour + now.minute / 60.0)) % 360.0
    site = f"""[[site]]
name = "orchard"
latitude_deg = 0.0
longitude_deg = {longitude_deg - 360.0 if longitude_deg > 180.0 else longitude_deg}
hemisphere = "north"
"""
    config = parse_config(HOST_TOML.format(ledger=ledger_name) + site, Path("host.toml"))
    north = read_status(config, now).stations[0]
    assert (north.verdict, north.reason, north.visits, north.watched_share) == ("unjudged", "dark", None, None)


BLIND = Health(
    station=STATION,
    state=StationState.BLIND,
    reason="the lens is covered\x1b[2J",
    disk_free_bytes=5_000_000,
    spool_dropped=12,
)


@pytest.fixture
def blind(tmp_path: Path, sqlite_ledger: str) -> Path:
    """Return the configuration of a host whose one station is blind and sent something strange."""
    sent = [Arrival(topic_of(Subject.HEALTH), encode(BLIND)), Arrival(topic_of(Subject.TALLY), b'"?"')]
    with Ledger(ledger_url(sqlite_ledger), STATIONS, datetime.now(UTC)) as ledger:
        ledger.record(sent, datetime.now(UTC))
    path = tmp_path / "host.toml"
    path.write_text(HOST_TOML.format(ledger=sqlite_ledger))
    return path


def test_status_shows_what_a_station_says_of_itself(blind: Path) -> None:
    printed = status_of(blind).stdout
    assert "blind, " in printed
    assert "orchard/north: it says blind, because: the lens is covered?[2J\n" in printed
    assert "orchard/north: its spool has dropped 12 tallies\n" in printed
    assert "orchard/north: the newest rejection: Expected `object`, got `str`\n" in printed


def test_status_tells_a_program_what_a_station_says_of_itself(blind: Path) -> None:
    north = json.loads(status_of(blind, "--json").stdout)["stations"][0]
    assert (north["said"]["state"], north["said"]["reason"]) == ("blind", BLIND.reason)
    assert (north["said"]["disk_free_bytes"], north["said"]["spool_dropped"]) == (5_000_000, 12)
    assert north["refusal"] == "Expected `object`, got `str`"


def test_at_eighty_columns_no_word_is_broken(blind: Path) -> None:
    blind.write_text(blind.read_text().replace('"orchard"', '"hinterland-hill"'))
    printed, _, _ = status_of(blind).stdout.partition("orchard/north: ")
    assert all(len(line) <= 80 for line in printed.splitlines())
    for word in ("hinterland-hill/", "north", "luring", "unjudged:", "silent", "visits", "rejected", "never"):
        assert word in printed.split()


def status_of(config: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [SWAPBELL_HOST, "status", "--config", str(config), *words],
        capture_output=True,
        text=True,
        check=True,
        env=os.environ | {"COLUMNS": "80"},
    )


def test_a_station_whose_clock_is_ahead_is_shown(sqlite_ledger: str) -> None:
    now = datetime.now(UTC)
    ahead = tally(1, start_at=now + timedelta(minutes=42))
    with Ledger(ledger_url(sqlite_ledger), STATIONS, now) as ledger:
        ledger.record([Arrival(topic_of(Subject.TALLY), encode(ahead))], now)
    status = read_status(config_of(sqlite_ledger), now)
    assert (status.stations[0].ahead_s, status.stations[0].visits) == (42 * 60 + 15, None)
    assert "orchard/north: Counts come dated 42 min ahead of this host's clock; check both clocks." in "".join(
        lines(status, now)
    )


@pytest.fixture
def swapbell_host(tmp_path: Path, sqlite_ledger: str) -> Run:
    filled(sqlite_ledger, datetime.now(UTC))
    (tmp_path / "host.toml").write_text(HOST_TOML.format(ledger=sqlite_ledger))

    def run(*words: str) -> subprocess.CompletedProcess[str]:
        wide = os.environ | {"COLUMNS": "120"}
        return subprocess.run(
            [SWAPBELL_HOST, *words], cwd=tmp_path, capture_output=True, text=True, check=False, env=wide
        )

    return run


def test_status_prints_a_line_for_each_station_and_the_open_notices(swapbell_host: Run) -> None:
    printed = swapbell_host("status").stdout
    north, south = (
        line.split() for line in printed.splitlines() if line.startswith("orchard/") and ": " not in line[:16]
    )
    assert north[:5] == ["orchard/north", "luring", "touched", "18", "90"]
    assert south[1:6] == ["luring", "unjudged:", "silent", "-", "-"]
    assert "notice 1, told 0 times: Ten visits in five minutes." in printed


def test_status_speaks_json(swapbell_host: Run) -> None:
    said = json.loads(swapbell_host("status", "--json").stdout)
    assert [(each["station"], each["visits"]) for each in said["stations"]] == [("north", 18), ("south", None)]


def test_a_notice_is_acknowledged_once(swapbell_host: Run) -> None:
    assert swapbell_host("ack", "1", "--by", "Kim").stdout == "acknowledged: Ten visits in five minutes.\n"
    again = swapbell_host("ack", "1")
    assert (again.returncode, again.stderr) == (2, "notice 1 is not open; open are: none\n")


def test_all_notices_are_acknowledged_at_once(swapbell_host: Run) -> None:
    assert swapbell_host("ack", "--all").stdout == "acknowledged: Ten visits in five minutes.\n"
    assert swapbell_host("ack", "--all").returncode == 0


@pytest.mark.parametrize("words", [["ack"], ["ack", "1", "--all"]])
def test_ack_wants_to_know_which(swapbell_host: Run, words: list[str]) -> None:
    assert swapbell_host(*words).stderr.startswith("ack needs one notice's number, or --all")


@pytest.mark.file
def test_status_alters_nothing(swapbell_host: Run, sqlite_ledger: str) -> None:
    before = Path(sqlite_ledger).read_bytes()
    swapbell_host("status")
    assert Path(sqlite_ledger).read_bytes() == before


def test_a_site_is_shown_as_a_whole(ledger_name: str) -> None:
    now = datetime.now(UTC)
    filled(ledger_name, now)
    status = read_status(config_of(ledger_name), now)
    site = status.sites[SITE]
    assert (site.step, site.reason, site.stations, site.unjudged) == (Step.TOUCHED, None, 2, 1)
    assert any(line.startswith("orchard as a whole: touched: a mean of ") for line in lines(status, now))


def test_what_a_station_is_short_of_is_shown(sqlite_ledger: str) -> None:
    now = datetime.now(UTC)
    low = Health(station=STATION, state=StationState.WATCHING, battery_percent=7.0)
    with Ledger(ledger_url(sqlite_ledger), STATIONS, now) as ledger:
        ledger.record([Arrival(topic_of(Subject.HEALTH), encode(low))], now)
    status = read_status(config_of(sqlite_ledger), now)
    assert "orchard/north: its battery is down to 7 %: charge or change it" in lines(status, now)


def told_of(ledger: str, said: Health) -> list[str]:
    now = datetime.now(UTC)
    with Ledger(ledger_url(ledger), STATIONS, now) as opened:
        opened.record([Arrival(topic_of(Subject.HEALTH), encode(said))], now)
    return list(lines(read_status(config_of(ledger), now), now))


def test_a_camera_out_of_focus_another_version_and_what_a_check_found_are_shown(sqlite_ledger: str) -> None:
    said = Health(
        station=STATION,
        state=StationState.WATCHING,
        sharpness=2.0,
        version="0.0.1\x1b",
        checks=("look: heat: 75 degrees Celsius",),
    )
    told = told_of(sqlite_ledger, said)
    assert "orchard/north: its view is a little out of focus: an edge is 2.0 mm wide; focus its camera" in told
    assert f"orchard/north: its program is of version 0.0.1?, this host's of {version('swapbell')}" in told
    assert "orchard/north: it found in itself: look: heat: 75 degrees Celsius" in told


def test_a_sharp_camera_and_the_same_version_are_nothing_out_of_the_ordinary(sqlite_ledger: str) -> None:
    said = Health(station=STATION, state=StationState.WATCHING, sharpness=5.0, version=version("swapbell"))
    assert not any("its view" in line or "its program" in line for line in told_of(sqlite_ledger, said))
