"""The station's run: what it counts reaches the host, and it ends in good order whatever ends it."""

import json
import math
import re
import signal
import subprocess
from collections.abc import Generator, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Event

import numpy as np
import pytest
from clips import STATION, pictures, walk, write_clip
from drawn_counter import COMMAND, CONFIG, configured
from listener import Listener, eventually
from mosquitto_child import Broker, free_port
from spooled import TALLY_S, fill, names, opened, tally

from swapbell_device.camera import Clip, Frame
from swapbell_device.config import Config, parse_config
from swapbell_device.drawn import DrawnStation
from swapbell_device.eye import Paced, dated
from swapbell_device.linking.delivery import Patience
from swapbell_device.look import Look
from swapbell_device.moment import Moment
from swapbell_device.run import run
from swapbell_device.spooling.spool import DAY_S
from swapbell_device.truth import truth
from swapbell_models.fault import Breakdown, Mistake
from swapbell_models.message import Held
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Crossing, Direction, Hindrance

BRISK = Patience(retry_s=0.05, retry_max_s=0.1, stop_s=0.5, end_s=5.0)


def parsed(path: Path) -> Config:
    return parse_config(path.read_text(), path)


def crossing(at_s: float) -> Crossing:
    return Crossing(at_s=at_s, direction=Direction.IN, size=SizeClass.WASP, length_mm=13.0)


def moments(seconds: float = 4.0, fails_at_s: float = math.inf) -> Iterator[Moment]:
    """Yield ten frames a second, the first of each second with a crossing; fail as a camera would if told to."""
    image = np.zeros((2, 2), np.uint8)
    for tenth in range(round(seconds * 10)):
        at_s = tenth / 10
        if at_s >= fails_at_s:
            raise Mistake("clip evening.mp4: it ends early")
        yield Moment(Frame(image, at_s), [], [], [crossing(at_s)] if tenth % 10 == 0 else [])


@pytest.mark.part("mosquitto")
def test_every_crossing_that_was_seen_arrives(broker: Broker, tmp_path: Path) -> None:
    with Listener(broker.port) as host, opened(tmp_path / "spool.sqlite", []) as spool:
        run(parsed(configured(tmp_path, broker.port)), moments(), Event(), spool, BRISK)
        assert len(spool) == 0
    heard = [tally.up_s + c.at_s for tally in host.tallies for c in tally.crossings]
    assert heard == [0.0, 1.0, 2.0, 3.0]
    assert host.seqs() == list(range(1, len(host.tallies) + 1))
    assert host.tallies[0].from_at.isoformat() == "2026-02-03T12:00:00+00:00"


@pytest.mark.part("mosquitto")
def test_what_the_counter_cannot_see_arrives_as_unwatched(broker: Broker, tmp_path: Path) -> None:
    dark = Look(0.0, light=0.5, detail=0.0, noise=0.4, shake_mm=0.0, moving=0.0)
    seen = (replace(moment, look=dark) if moment.frame.at_s == 0.0 else moment for moment in moments())
    with Listener(broker.port) as host, opened(tmp_path / "spool.sqlite", []) as spool:
        run(parsed(configured(tmp_path, broker.port)), seen, Event(), spool, BRISK)
    assert {tally.watched_s for tally in host.tallies} == {0.0}
    assert {tally.sight.hindrance for tally in host.tallies if tally.sight} == {Hindrance.LIGHT}
    assert sum(tally.sight.blind_s or 0.0 for tally in host.tallies if tally.sight) == pytest.approx(3.9)


@pytest.mark.part("mosquitto")
def test_every_start_is_a_boot_of_its_own(broker: Broker, tmp_path: Path) -> None:
    with Listener(broker.port) as host, opened(tmp_path / "spool.sqlite", []) as spool:
        for _ in range(2):
            run(parsed(configured(tmp_path, broker.port)), moments(1.0), Event(), spool, BRISK)
    assert len({tally.boot for tally in host.tallies}) == 2


@pytest.mark.part("mosquitto")
def test_health_tells_of_frames_and_spool(broker: Broker, tmp_path: Path) -> None:
    with Listener(broker.port) as host, opened(tmp_path / "spool.sqlite", []) as spool:
        run(parsed(configured(tmp_path, broker.port)), moments(), Event(), spool, BRISK)
        assert eventually(lambda: host.states()[-1:] == ["stopped"])
    last = host.healths[-1]
    assert (last.spool_tallies, last.spool_dropped, last.oldest) == (0, 0, ())
    assert last.at is not None
    assert last.at.isoformat() == "2026-02-03T12:00:03.900000+00:00"
    assert last.disk_free_bytes is not None


@pytest.mark.part("mosquitto")
def test_what_the_spool_dropped_is_told_in_health(broker: Broker, tmp_path: Path) -> None:
    with opened(tmp_path / "spool.sqlite", [], keep_days=TALLY_S / DAY_S) as small:
        for boot, seq in [("b1", 1), ("b1", 2), ("b2", 1)]:
            small.put(tally(seq, boot))
    config = parsed(configured(tmp_path, broker.port))
    with Listener(broker.port) as host, opened(tmp_path / "spool.sqlite", []) as spool:
        run(config, moments(), Event(), spool, BRISK)
        assert eventually(lambda: host.states()[-1:] == ["stopped"])
    last = host.healths[-1]
    assert last.spool_dropped == 2
    assert last.oldest == (Held(boot="b1", seq=3, last=2),)


def test_a_clip_that_ends_without_receipts_says_where_the_tallies_are(tmp_path: Path) -> None:
    hasty = Patience(retry_s=0.05, end_s=0.2)
    with opened(tmp_path / "spool.sqlite", []) as spool:
        with pytest.raises(Breakdown, match=r"8 tallies without a receipt; they are safe in .*spool\.sqlite"):
            run(parsed(configured(tmp_path, free_port())), moments(), Event(), spool, hasty)
        assert len(spool) == 8


LOST = (
    r"(\d+) tallies that waited in memory are lost: spool .*spool\.sqlite has no room; free some space on its disk$"
)
HASTY = Patience(stop_s=0.1, end_s=0.1)


def run_on_a_full_disk(folder: Path, disk: Path, seen: Iterator[Moment], stop: Event) -> None:
    with opened(disk / "spool.sqlite", []) as spool:
        fill(disk)
        run(parsed(configured(folder, free_port())), seen, stop, spool, HASTY)


def lost_and_kept(disk: Path, told: str) -> tuple[int, int]:
    (disk / "ballast").unlink()
    lost = re.search(LOST, told)
    assert lost is not None, told
    with opened(disk / "spool.sqlite", []) as after:
        return int(lost[1]), len(after)


@pytest.mark.part("tmpfs")
def test_what_a_full_disk_costs_is_said_at_the_end(tmp_path: Path, small_disk: Path) -> None:
    with pytest.raises(Breakdown) as told:
        run_on_a_full_disk(tmp_path, small_disk, moments(60.0), Event())
    lost, kept = lost_and_kept(small_disk, str(told.value))
    assert lost > 0
    assert lost + kept == 120


@pytest.mark.part("tmpfs")
def test_only_what_is_in_the_file_is_called_safe(tmp_path: Path, small_disk: Path) -> None:
    with pytest.raises(Breakdown) as told:
        run_on_a_full_disk(tmp_path, small_disk, moments(60.0), Event())
    _, kept = lost_and_kept(small_disk, str(told.value))
    called_safe = re.search(r"(\d+) tallies without a receipt; they are safe", str(told.value))
    assert kept == (0 if called_safe is None else int(called_safe[1]))


@pytest.mark.part("tmpfs")
def test_what_a_full_disk_costs_is_said_to_whoever_stops_it(tmp_path: Path, small_disk: Path) -> None:
    stop = Event()
    stop.set()
    with pytest.raises(Breakdown) as told:
        run_on_a_full_disk(tmp_path, small_disk, moments(60.0), stop)
    lost, kept = lost_and_kept(small_disk, str(told.value))
    assert lost + kept == 120


@pytest.mark.part("tmpfs")
def test_what_a_full_disk_costs_is_said_beside_what_ended_the_run(tmp_path: Path, small_disk: Path) -> None:
    with pytest.raises(Breakdown, match=r"ends early; \d+ tallies that waited") as told:
        run_on_a_full_disk(tmp_path, small_disk, moments(70.0, fails_at_s=60.0), Event())
    lost, kept = lost_and_kept(small_disk, str(told.value))
    assert lost + kept == 120


@pytest.mark.part("tmpfs")
def test_a_disk_that_has_room_again_at_the_end_costs_nothing(tmp_path: Path, small_disk: Path) -> None:
    def freed() -> Iterator[Moment]:
        yield from moments(60.0)
        (small_disk / "ballast").unlink()

    with pytest.raises(Breakdown, match=r"120 tallies without a receipt; they are safe in .*spool\.sqlite"):
        run_on_a_full_disk(tmp_path, small_disk, freed(), Event())
    with opened(small_disk / "spool.sqlite", []) as after:
        assert len(after) == 120


def test_a_camera_that_fails_loses_nothing_that_was_counted(tmp_path: Path) -> None:
    with opened(tmp_path / "spool.sqlite", []) as spool:
        with pytest.raises(Mistake, match="ends early"):
            run(parsed(configured(tmp_path, free_port())), moments(fails_at_s=2.3), Event(), spool, BRISK)
        assert [seq for _, seq in names(spool.pending(100))] == [1, 2, 3, 4, 5]


@pytest.mark.part("mosquitto")
@pytest.mark.parametrize("fails_at_s", [0.0, 2.3])
def test_what_ended_a_run_that_did_not_end_well_is_told_in_health(
    broker: Broker, tmp_path: Path, fails_at_s: float
) -> None:
    config = parsed(configured(tmp_path, broker.port))
    with Listener(broker.port) as host, opened(tmp_path / "spool.sqlite", []) as spool:
        with pytest.raises(Mistake):
            run(config, moments(fails_at_s=fails_at_s), Event(), spool, Patience(stop_s=5.0))
        assert eventually(lambda: host.states()[-1:] == ["stopped"])
    assert host.healths[-1].reason == "clip evening.mp4: it ends early"


def test_a_run_that_is_stopped_is_no_failure(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    stop = Event()
    stop.set()
    with opened(tmp_path / "spool.sqlite", []) as spool:
        run(parsed(configured(tmp_path, free_port())), moments(), stop, spool, Patience(stop_s=0.1))
    assert "8 tallies without a receipt; they are safe in" in capsys.readouterr().err


@dataclass(frozen=True)
class Ten:
    """A camera of ten frames, a tenth of a second apart."""

    size: tuple[int, int] = (2, 2)

    def frames(self) -> Iterator[Frame]:
        yield from (Frame(np.zeros((2, 2), np.uint8), tenth / 10) for tenth in range(10))


def test_pacing_neither_adds_nor_drops_frames() -> None:
    assert [frame.at_s for frame in Paced(Ten(), 50.0, Event()).frames()] == [tenth / 10 for tenth in range(10)]


def test_pacing_ends_when_it_is_told_to_stop() -> None:
    stop = Event()
    frames = Paced(Ten(), 1e-6, stop).frames()
    next(frames)
    stop.set()
    assert list(frames) == []


NOW_AT = datetime(2026, 2, 3, 15, 0, tzinfo=UTC)


def undated(folder: Path, pace: float) -> Config:
    path = configured(folder, 1, pace)
    path.write_text(path.read_text().replace("starts_at = 2026-02-03T12:00:00Z\n", ""))
    return parsed(path)


def test_a_camera_that_keeps_pace_with_the_clock_starts_now(tmp_path: Path) -> None:
    assert dated(undated(tmp_path, 1.0), DrawnStation(), NOW_AT).starts_at == NOW_AT


@pytest.mark.parametrize("pace", [0.0, 0.5, 30.0])
def test_a_drawn_station_at_any_other_pace_ends_now(tmp_path: Path, pace: float) -> None:
    station = DrawnStation(fps=20.0)
    starts_at = dated(undated(tmp_path, pace), station, NOW_AT).starts_at
    assert starts_at == NOW_AT - timedelta(seconds=len(station.times_s) / 20.0)


def film(folder: Path) -> Path:
    return write_clip(folder / "clip.avi", pictures([walk((20, 120), (300, 120), 40)]))


def test_a_clip_ends_now(tmp_path: Path) -> None:
    assert dated(undated(tmp_path, 0.0), Clip(film(tmp_path)), NOW_AT).starts_at == NOW_AT - timedelta(seconds=2)


def test_a_clip_with_times_of_its_own_ends_now(tmp_path: Path) -> None:
    clip = Clip(film(tmp_path), [7.0 + 0.5 * frame for frame in range(40)])
    assert dated(undated(tmp_path, 0.0), clip, NOW_AT).starts_at == NOW_AT - timedelta(seconds=19.5)


def test_a_clip_that_does_not_tell_its_length_must_be_dated(tmp_path: Path) -> None:
    clip = Clip(film(tmp_path))
    clip.frames_promised = 0
    with pytest.raises(Mistake, match="give starts_at"):
        dated(undated(tmp_path, 0.0), clip, NOW_AT)


def test_what_is_said_about_the_start_holds(tmp_path: Path) -> None:
    config = parsed(configured(tmp_path, 1, 0.0))
    assert dated(config, DrawnStation(), NOW_AT) == config


@pytest.mark.part("mosquitto")
def test_no_tally_of_a_clip_that_runs_ahead_of_the_clock_lies_in_the_future(broker: Broker, tmp_path: Path) -> None:
    film(tmp_path)
    (tmp_path / "gate.toml").write_text(STATION)
    path = configured(tmp_path, broker.port)
    text = path.read_text().replace("starts_at = 2026-02-03T12:00:00Z", 'station_file = "gate.toml"')
    path.write_text(text.replace('kind = "drawn"', 'kind = "clip"\npath = "clip.avi"'))
    with Listener(broker.port) as host, process(path) as station:
        station.communicate(timeout=60)
    assert len(host.tallies) == 4
    assert max(tally.to_at for tally in host.tallies) <= datetime.now(UTC) - timedelta(seconds=0.05)


def test_the_truth_of_a_drawn_station_is_told_as_events(tmp_path: Path) -> None:
    lines = [json.loads(line) for line in truth(parsed(configured(tmp_path, 1)))]
    assert lines
    assert set(lines[0]) == {"t_s", "direction", "size", "length_mm"}
    assert [line["t_s"] for line in lines] == sorted(line["t_s"] for line in lines)


def test_the_truth_of_a_clip_is_not_known(tmp_path: Path) -> None:
    text = CONFIG.format(port=1, pace=1).replace('kind = "drawn"', 'kind = "clip"\npath = "evening.mp4"')
    with pytest.raises(Mistake, match="of a drawn station only"):
        list(truth(parse_config(f'station_file = "gate.toml"\n{text}', tmp_path / "station.toml")))


@contextmanager
def process(config: Path) -> Generator[subprocess.Popen[str]]:
    with subprocess.Popen([COMMAND, "run", "--config", str(config)], stderr=subprocess.PIPE, text=True) as station:
        try:
            yield station
        finally:
            station.kill()


@pytest.mark.part("mosquitto")
@pytest.mark.parametrize("told", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_finishes_the_tally_in_progress(broker: Broker, tmp_path: Path, told: signal.Signals) -> None:
    with Listener(broker.port) as host, process(configured(tmp_path, broker.port, pace=1.0)) as station:
        assert host.hears(2)
        station.send_signal(told)
        _, said = station.communicate(timeout=20)
        assert eventually(lambda: host.states()[-1:] == ["stopped"])
    assert station.returncode == 0
    assert said.splitlines()[-1] == "orchard/north ended; every tally is in the host's ledger"
    assert host.tallies[-1].seconds <= 0.5
    assert len(host.tallies) > 4


@pytest.mark.part("mosquitto")
def test_running_a_clip_tells_the_crossings_that_counting_it_tells(broker: Broker, tmp_path: Path) -> None:
    there, back = walk((20, 120), (300, 120), 40), walk((300, 80), (20, 80), 40)
    write_clip(
        tmp_path / "clip.avi", pictures([[None] * 60 + there + [None] * 100, [None] * 100 + back + [None] * 60])
    )
    (tmp_path / "gate.toml").write_text(STATION)
    path = configured(tmp_path, broker.port)
    clip = 'kind = "clip"\npath = "clip.avi"'
    path.write_text('station_file = "gate.toml"\n' + path.read_text().replace('kind = "drawn"\npace = 0.0', clip))
    words = [COMMAND, "count", str(tmp_path / "clip.avi"), "--station", str(tmp_path / "gate.toml")]
    counted = [json.loads(line) for line in subprocess.check_output(words).splitlines()]
    with Listener(broker.port) as host, process(path) as station:
        _, said = station.communicate(timeout=60)
    assert (station.returncode, said.splitlines()[-1]) == (
        0,
        "orchard/north ended; every tally is in the host's ledger",
    )
    told = [(tally.up_s + c.at_s, c.direction.value) for tally in host.tallies for c in tally.crossings]
    assert [at_s for at_s, _ in told] == pytest.approx([event["t_s"] for event in counted], abs=0.002)
    assert [direction for _, direction in told] == [event["direction"] for event in counted] == ["in", "out"]


def test_a_wrong_configuration_is_one_line_and_the_callers_mistake(tmp_path: Path) -> None:
    path = configured(tmp_path, 1)
    path.write_text(path.read_text().replace("site", "sight"))
    with process(path) as station:
        _, said = station.communicate(timeout=20)
    assert station.returncode == 2
    assert said == f"configuration {path}: unknown key sight; did you mean site?\n"


@pytest.mark.part("mosquitto")
def test_a_killed_station_is_told_as_lost(broker: Broker, tmp_path: Path) -> None:
    with Listener(broker.port) as host, process(configured(tmp_path, broker.port, pace=1.0)) as station:
        assert eventually(lambda: host.states()[:1] == ["watching"])
        station.kill()
        assert eventually(lambda: host.states()[-1:] == ["lost"])
