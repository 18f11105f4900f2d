"""Evidence from the station's camera to the auditor's folder, through a real broker and by the real commands."""

import itertools
import json
import secrets
import shutil
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

import pytest
from clips import STATION as GATE
from clips import pictures, walk
from listener import eventually
from mosquitto_child import Broker, free_port
from msgspec.structs import replace
from spooled import opened
from typer.testing import CliRunner

from swapbell_device.camera import Frame
from swapbell_device.cameras.live import Absence
from swapbell_device.config import parse_config as parse_device
from swapbell_device.evidence.draws import next_choice
from swapbell_device.linking.delivery import Patience
from swapbell_device.main import watch
from swapbell_device.moment import Moment
from swapbell_device.run import run
from swapbell_device.stationfile import parse_station
from swapbell_host.auditing.caller import BRIEF_MAX, Caller
from swapbell_host.auditing.fetching import fetch, listed
from swapbell_host.config import parse_config as parse_host
from swapbell_host.main import app
from swapbell_host.wire.subscriber import Subscriber
from swapbell_models.calendar.place import Hemisphere, Place
from swapbell_models.evidence import Item, Seek, label
from swapbell_models.fault import Breakdown, Mistake

pytestmark = pytest.mark.part("mosquitto")

STARTS_AT = datetime(2026, 2, 3, 0, 0, tzinfo=UTC)
PLACE = Place(-41.3, 173.2, Hemisphere.SOUTH)
DEVICE = """
site = "orchard"
station = "north"
station_file = "station.toml"
starts_at = 2026-02-03T00:00:00Z
tally_s = 5.0
[place]
latitude_deg = -41.3
longitude_deg = 173.2
hemisphere = "south"
[camera]
kind = "clip"
path = "morning.avi"
[broker]
host = "127.0.0.1"
port = {port}
[spool]
path = "spool.sqlite"
[evidence]
clips_a_day = 96
"""
HOST = '[broker]\nhost = "127.0.0.1"\nport = {port}\n'
PER_S = 20.0
BRISK = Patience(retry_s=0.05, retry_max_s=0.1, stop_s=0.1, end_s=0.1)


class Film:
    """A minute and a half in which a body walks in and out again every twelve seconds."""

    size = (320, 240)

    def frames(self) -> Iterator[Frame]:
        way = walk((20, 120), (300, 130), 100)
        rest: list[tuple[float, float] | None] = [None] * 20
        images = itertools.cycle(pictures([[*rest, *rest, *way, *rest, *way[::-1]]]))
        yield from (Frame(next(images), n / PER_S) for n in range(round(90 * PER_S)))


def seed_of_an_early_minute() -> str:
    """Return a seed by which the first film begins within the first quarter of a minute."""
    for seed in map(str, itertools.count()):
        chosen = next_choice(seed, 96, 0.0, "b", PLACE, STARTS_AT)
        if chosen is not None and chosen.start_s < 15.0:
            return seed
    raise AssertionError


def counted(folder: Path, port: int, shown: Iterator[Moment | Absence], stop: threading.Event) -> None:
    """Run a counter whose tallies nobody receipts, which it says at its end."""
    config = parse_device(DEVICE.format(port=port), folder / "device.toml")
    with suppress(Breakdown), opened(folder / "spool.sqlite", []) as spool:
        run(config, shown, stop, spool, BRISK)


@pytest.fixture(scope="module")
def filmed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of a counter that has seen the film."""
    folder = tmp_path_factory.mktemp("filmed")
    (folder / "evidence").mkdir()
    (folder / "evidence" / "seed.txt").write_text(seed_of_an_early_minute())
    (folder / "station.toml").write_text(GATE)
    counted(folder, free_port(), watch(Film(), parse_station(GATE, "test")), threading.Event())
    return folder


class Standing:
    """A counter that stands there, in this process, and sees nothing more."""

    def __init__(self, folder: Path, port: int) -> None:
        self.evidence = folder / "evidence"
        self._stop = threading.Event()
        self._thread = threading.Thread(target=counted, args=(folder, port, self._shown(), self._stop))
        self._thread.start()

    def stop(self) -> None:
        self._stop.set()
        self._thread.join()

    def _shown(self) -> Iterator[Absence]:
        for n in itertools.count():
            if self._stop.wait(0.02):
                return
            yield Absence(n / 50, "asleep", asleep=True)


@pytest.fixture
def standing(broker: Broker, filmed: Path, tmp_path: Path) -> Iterator[Standing]:
    station = Standing(Path(shutil.copytree(filmed, tmp_path / "north")), broker.port)
    yield station
    station.stop()


@pytest.fixture
def desk(broker: Broker, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "host.toml").write_text(HOST.format(port=broker.port))
    return tmp_path


def typed(*words: str) -> str:
    done = CliRunner().invoke(app, words)
    assert done.exception is None, done.exception
    return done.stdout


def refused(kind: type[Exception], *words: str) -> str:
    done = CliRunner().invoke(app, words)
    assert isinstance(done.exception, kind), done.output
    return str(done.exception)


def caller(desk: Path, wait_s: float = 10.0) -> Caller:
    return Caller(parse_host((desk / "host.toml").read_text(), desk / "host.toml"), ("orchard", "north"), wait_s)


def film_of(station: Caller) -> Item:
    return next(item for item in listed(station, Seek()) if label(item.name).passing is None)


def test_evidence_goes_from_the_camera_to_an_audit(standing: Standing, desk: Path) -> None:
    rows = json.loads(typed("evidence", "list", "orchard/north", "--json"))
    assert {row["kind"] for row in rows} == {"clip", "strip"}
    assert typed("evidence", "list", "orchard/north").count("\n") == len(rows)
    typed("evidence", "fetch", "orchard/north", "--out", "got")
    for path in standing.evidence.rglob("*"):
        if path.is_file() and path.name != "seed.txt":
            assert (desk / "got" / path.relative_to(standing.evidence)).read_bytes() == path.read_bytes()
    typed("evidence", "sheet", "got", "--out", "recount.csv")
    text = (desk / "recount.csv").read_text()
    assert len(text.splitlines()) == len(rows) + 1
    head, film = [line for line in text.splitlines() if ".strip." not in line]
    reported = json.loads(typed("evidence", "audit", "got", "--json"))
    assert (reported["films"], reported["left_out"]["unanswered"]) == (0, 1)
    events = next((desk / "got").glob("*.clip.*")) / "crossings.jsonl"
    visits = sum(json.loads(line)["direction"] == "in" for line in events.read_text().splitlines())
    assert visits > 2
    (desk / "recount.csv").write_text(f"{head}\n{film.removesuffix(',,')},{visits + 1},\n")
    audited = json.loads(typed("evidence", "audit", "got", "--json"))
    assert (audited["machine"], audited["person"]) == ([visits], [visits + 1])


def test_items_are_chosen_by_name_time_and_kind(standing: Standing, desk: Path) -> None:
    rows = json.loads(typed("evidence", "list", "orchard/north", "--json", "--kind", "strips"))
    assert {row["kind"] for row in rows} == {"strip"}
    name = rows[1]["item"]
    assert typed("evidence", "fetch", "orchard/north", name, "--out", "got") == f"got/{name}.jpg\n"
    assert [path.name for path in (desk / "got").iterdir()] == [f"{name}.jpg"]
    typed("site", "add", "orchard", "--zone", "Pacific/Auckland")
    later = json.loads(typed("evidence", "list", "orchard/north", "--json", "--from", "2026-02-03 13:01"))
    assert 0 < len(later) < len(rows)
    assert all(row["at"] >= "2026-02-03T00:01:00Z" for row in later)


def test_what_a_station_has_not_is_refused_in_one_line(standing: Standing, desk: Path) -> None:
    assert "the station has none of that name" in refused(Mistake, "evidence", "fetch", "orchard/north", "nothing")


class Enough(Exception):
    """A cut in the middle."""


def test_after_a_cut_the_rest_alone_is_fetched(standing: Standing, desk: Path) -> None:
    came: list[int] = []

    def cut(more: int) -> None:
        came.append(more)
        if len(came) == 3:
            raise Enough

    with caller(desk) as station:
        item = film_of(station)
        with pytest.raises(Enough):
            fetch(station, item, desk, cut)
        assert not (desk / item.name).exists()
        fetch(station, item, desk, came.append)
    assert sum(came) == item.size
    assert (desk / item.name / "clip.mp4").read_bytes() == (standing.evidence / item.name / "clip.mp4").read_bytes()
    assert [path.name for path in desk.iterdir() if path.name.startswith(".")] == []


def test_a_broker_that_is_killed_and_comes_back_costs_a_moment(
    broker: Broker, standing: Standing, desk: Path
) -> None:
    with caller(desk, 20.0) as station:
        item = film_of(station)
        kills = iter([broker.restart])
        fetch(station, item, desk, lambda _more: next(kills, lambda: None)())
    assert (desk / item.name / "clip.mp4").read_bytes() == (standing.evidence / item.name / "clip.mp4").read_bytes()


def test_a_station_that_is_not_there_costs_one_line_and_a_wait_with_an_end(
    broker: Broker, standing: Standing, desk: Path
) -> None:
    standing.stop()
    began_s = time.monotonic()
    line = refused(Breakdown, "evidence", "list", "orchard/north", "--wait", "1")
    assert time.monotonic() - began_s < 10.0
    assert line.startswith(
        "station orchard/north did not answer within 1 s; its last word at the broker is 'stopped'"
    )


def test_a_broker_that_is_not_there_is_told_at_once(broker: Broker, desk: Path) -> None:
    broker.kill()
    line = refused(Breakdown, "evidence", "list", "orchard/north")
    assert line.startswith(f"broker 127.0.0.1:{broker.port} cannot be reached")


def test_the_running_host_neither_hears_nor_is_hindered_by_who_audits(
    broker: Broker, standing: Standing, desk: Path
) -> None:
    section = parse_host((desk / "host.toml").read_text(), desk / "host.toml").broker
    stop, topics = threading.Event(), set[str]()
    with Subscriber(section, {"orchard"}) as host:

        def listen() -> None:
            for batch in host.batches(stop):
                topics.update(arrival.topic.rpartition("/")[2] for arrival in batch.arrivals)

        ear = threading.Thread(target=listen)
        ear.start()
        assert eventually(lambda: "health" in topics)
        connections = host.connection
        typed("evidence", "list", "orchard/north")
        stop.set()
        ear.join()
        assert host.connection == connections
    assert topics <= {"health", "tally"}


def same_word(nbytes: int) -> str:
    return "same"


def test_who_audits_does_not_fight_the_host_for_its_name(
    broker: Broker, standing: Standing, desk: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # As at a kit's broker, which knows its clients by their users.
    monkeypatch.setattr(secrets, "token_hex", same_word)
    section = parse_host((desk / "host.toml").read_text(), desk / "host.toml").broker
    stop = threading.Event()
    with Subscriber(replace(section, client=f"{section.client}-same"), {"orchard"}) as host:
        ear = threading.Thread(target=lambda: [*host.batches(stop)])
        ear.start()
        assert eventually(lambda: host.connection == 1)
        with caller(desk) as station, pytest.raises(Mistake, match="as if we were the host"):
            list(map(station.ask, itertools.repeat(Seek(), 60)))
        stop.set()
        ear.join()
        assert host.connection <= BRIEF_MAX + 1
