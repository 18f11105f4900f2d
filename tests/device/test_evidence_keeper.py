"""What a counter keeps as evidence of a drawn station: strips that show the crossings, films that count alike."""

import itertools
import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from threading import Event

import cv2
import msgspec
import numpy as np
import pytest
from clips import STATION as GATE
from clips import pictures, walk
from drawn_counter import CONFIG

from swapbell_device.book import Book
from swapbell_device.camera import Clip, Frame, read_times
from swapbell_device.cameras.live import Absence
from swapbell_device.config import Config, parse_config
from swapbell_device.count import Wish, count
from swapbell_device.drawn import DrawnStation
from swapbell_device.evidence import clips
from swapbell_device.evidence.clerk import Clerk
from swapbell_device.evidence.draws import Chosen, next_choice
from swapbell_device.evidence.keeper import Watchful, keeping
from swapbell_device.evidence.reel import TOO_SLOW, Reel
from swapbell_device.evidence.ring import Ring
from swapbell_device.evidence.store import Store
from swapbell_device.evidence.strips import BURST, PICTURE_PX, Allowance, Strips
from swapbell_device.main import watch
from swapbell_device.moment import Moment
from swapbell_device.stationfile import parse_station
from swapbell_models.evidence import ABOUT, EVENTS, STATION, TALLIES, TIMES, About, Draw, Label, label
from swapbell_models.message import Health, StationState
from swapbell_models.tally import Clock, Crossing, Direction, Tally

NOON_AT = datetime(2026, 2, 3, 12, 0, tzinfo=UTC)
DEVICE = """
site = "orchard"
station = "north"
station_file = "station.toml"
[camera]
kind = "clip"
path = "morning.avi"
[broker]
host = "127.0.0.1"
[spool]
path = "spool.sqlite"
[evidence]
clips_a_day = 96
"""
PER_S = 20.0


def configured(folder: Path) -> Config:
    (folder / "station.toml").write_text(GATE)
    return parse_config(DEVICE, folder / "device.toml")


@pytest.fixture
def config(tmp_path: Path) -> Config:
    return configured(tmp_path)


@dataclass
class Film:
    """A drawn walk through the gate, shown as a camera would."""

    frames_: Sequence[Frame]
    size: tuple[int, int] = (320, 240)

    def frames(self) -> Iterator[Frame]:
        yield from self.frames_


def there_and_back(seconds: float) -> Film:
    """Return a view through which one body after the other walks, in and out by turns, each in six seconds."""
    way = walk((20, 120), (300, 130), 100)
    rest: list[tuple[float, float] | None] = [None] * 20
    ways = [*rest, *rest, *way, *rest, *way[::-1]]
    images = pictures([ways])
    shown = itertools.islice(itertools.cycle(images), round(seconds * PER_S))
    return Film([Frame(image, n / PER_S) for n, image in enumerate(shown)])


@dataclass
class Kept:
    """What came of a run: the store, what was counted, and what was told."""

    store: Store
    counted: list[Crossing]
    said: list[str]

    def strips(self) -> list[Label]:
        return [found for item in self.store.items() if (found := label(item.name)).passing]

    def clips(self) -> list[Path]:
        return [self.store.folder / item.name for item in self.store.items() if not label(item.name).passing]

    def about(self) -> About:
        (folder,) = self.clips()
        return msgspec.json.decode((folder / ABOUT).read_bytes(), type=About)


def chosen_at(start_s: float) -> Callable[..., Chosen | None]:
    """Return a draw of one minute that begins then."""

    def choose(seed: str, parts: int, after_s: float, *_: object) -> Chosen | None:
        draw = Draw(seed=seed, day="b1+0", part=1, parts=parts, minute=0, minutes=15)
        return Chosen(start_s, draw) if after_s < start_s else None

    return choose


def kept(
    config: Config,
    monkeypatch: pytest.MonkeyPatch,
    film: Film,
    start_s: float = 12.0,
    clerk: Clerk | None = None,
    shown: Callable[[Iterator[Moment]], Iterator[Moment | Absence]] = lambda moments: moments,
) -> Kept:
    """Run a counter over a film with a minute drawn at `start_s`."""
    monkeypatch.setattr(clips, "next_choice", chosen_at(start_s))
    said: list[str] = []
    store = Store(config.spool.path.parent / "evidence", 10**8, said.append, free_bytes=0)
    keeper = Watchful(config, "b1", NOON_AT, store, clerk or Clerk(waits=True), said.append)
    book, counted = Book("north", "b1", NOON_AT, Clock.SYNCED, 7.0), list[Crossing]()
    for moment in shown(iter(watch(film, parse_station(GATE, "test")))):
        told: list[Tally]
        if isinstance(moment, Absence):
            told = [*book.miss(moment.at_s)]
        else:
            counted += moment.crossings
            told = [*book.add(moment.crossings, moment.at_s, moment.look)]
        keeper.see(moment, told)
    keeper.close()
    return Kept(store, counted, said)


@pytest.fixture(scope="module")
def film() -> Film:
    return there_and_back(85.0)


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory, film: Film) -> Kept:
    with pytest.MonkeyPatch.context() as monkeypatch:
        return kept(configured(tmp_path_factory.mktemp("run")), monkeypatch, film)


def test_each_crossing_has_a_strip_that_says_what_was_counted(run: Kept) -> None:
    assert len(run.counted) > 10
    told = [(strip.up_s, strip.passing.direction, strip.passing.number) for strip in run.strips() if strip.passing]
    assert told == [(pytest.approx(c.at_s, abs=1e-3), c.direction, n) for n, c in enumerate(run.counted, start=1)]
    assert {strip.station for strip in run.strips()} == {"north"}


def darkest(picture: np.ndarray) -> float:
    """Return where across a picture the body lies, from -1 (outside) to 1 (inside)."""
    rows = picture[12:-12]
    columns = np.where(rows < 110)[1]
    return float((columns.mean() + 0.5) / PICTURE_PX * 2.0 - 1.0)


def test_a_strip_shows_the_body_before_on_and_beyond_the_line_from_left_to_right(run: Kept) -> None:
    for strip in run.strips():
        jpeg = cv2.imread(str(run.store.folder / f"{strip.name}.jpg"), cv2.IMREAD_GRAYSCALE)
        places = [darkest(picture) for picture in np.array_split(jpeg, 5, axis=1)]
        assert strip.passing is not None
        forward = places if strip.passing.direction is Direction.IN else places[::-1]
        assert forward == sorted(forward)
        assert forward[0] < -0.15 < abs(forward[2]) + 0.15 < forward[4] + 0.15
        assert abs(forward[2]) < 0.12


def test_the_ring_reaches_back_further_than_a_crossing_takes_and_holds_little() -> None:
    ring, image = Ring(parse_station(GATE, "test"), (320, 240)), pictures([[None]])[0]
    for n in range(600):
        ring.add(Frame(image, n / 60), [])
    held = list(ring)
    assert [glimpse.at_s for glimpse in held] == sorted(glimpse.at_s for glimpse in held)
    assert ring.nearest(9.9).at_s == pytest.approx(9.9, abs=0.01)
    assert ring.nearest(7.7).at_s == pytest.approx(7.7, abs=0.04)
    assert sum(glimpse.image.nbytes for glimpse in held) < 5e6


UPRIGHT = "[[160, 40], [160, 200]]"
GATES = {
    "inside on the right": (UPRIGHT, (280, 120), 0, False),
    "inside on the left": (UPRIGHT, (40, 120), 0, True),
    "the line from below": ("[[160, 200], [160, 40]]", (280, 120), 0, False),
    "inside below": ("[[40, 160], [200, 160]]", (120, 280), -1, False),
    "inside above": ("[[40, 160], [200, 160]]", (120, 40), -1, True),
}


@pytest.mark.parametrize("way", GATES)
def test_a_strip_is_turned_and_never_mirrored(config: Config, way: str) -> None:
    line, inside, quarters, against = GATES[way]
    gate = parse_station(f"[view]\nmm_per_px = 0.34\n[gate]\nline_px = {line}\ninside_px = {list(inside)}\n", way)
    images = [
        np.ascontiguousarray(np.rot90(image, quarters)) for image in pictures([walk((20, 120), (300, 120), 100)])
    ]
    for image in images:  # what lies to the left of who walks, and only there
        image[np.rot90(left_hand(), quarters)] = 255
    frames = [Frame(image, n / PER_S) for n, image in enumerate([images[0]] * 20 + images)]
    store, clerk = Store(config.spool.path.parent / "strips", 10**8, print, free_bytes=0), Clerk(waits=True)
    strips = Strips("north", "b1", gate, store, clerk)
    for moment in watch(Film(frames, images[0].shape[::-1]), gate):
        strips.see(moment, None)
    clerk.close()
    (item,) = store.items()
    told = label(item.name).passing
    assert told is not None
    assert told.direction is (Direction.OUT if against else Direction.IN)
    picture = cv2.imread(str(store.folder / f"{item.name}.jpg"), cv2.IMREAD_GRAYSCALE)[:, 228:340]
    high, low = picture[14:30].mean(), picture[-30:-14].mean()
    assert (low - high > 20.0) if against else (high - low > 20.0)


def left_hand() -> np.ndarray:
    """Return a mask of what lies some way to the left of who walks from left to right."""
    mask = np.zeros((240, 320), bool)
    mask[70:90] = True
    return mask


def test_a_film_is_counted_as_the_counter_counted_that_minute(run: Kept, tmp_path: Path) -> None:
    (folder,) = run.clips()
    out = tmp_path / "again.jsonl"
    count(Wish(folder / "clip.mp4", folder / STATION, out, folder / TIMES, None), watch)
    again, reported = (
        [json.loads(line) for line in path.read_text().splitlines()] for path in (out, folder / EVENTS)
    )
    assert len(reported) == sum(12.0 <= c.at_s < 72.0 for c in run.counted) > 5
    # A tally reaches beyond the minute at either end, with what was counted there.
    assert sum(7.0 <= c.at_s < 77.0 for c in run.counted) > len(reported)
    assert [(each["direction"], each["size"]) for each in again] == [(e["direction"], e["size"]) for e in reported]
    assert [each["t_s"] for each in again] == pytest.approx([each["t_s"] for each in reported], abs=0.1)


def test_a_film_tells_true_times_and_how_its_minute_was_drawn(run: Kept) -> None:
    (folder,) = run.clips()
    about = run.about()
    assert (about.site, about.station, about.boot, about.up_s, about.seconds) == (
        "orchard",
        "north",
        "b1",
        12.0,
        60.0,
    )
    assert about.at == datetime(2026, 2, 3, 12, 0, 12, tzinfo=UTC)
    assert (about.frames, about.first_s, about.left_out) == (1200, 0.0, None)
    assert about.draw.seed == (run.store.folder / "seed.txt").read_text().strip()
    assert len(read_times(folder / TIMES)) == len(list(Clip(folder / "clip.mp4").frames())) == 1200


def test_a_film_holds_the_tallies_that_were_sent_of_its_minute(run: Kept) -> None:
    (folder,) = run.clips()
    told = [msgspec.json.decode(line, type=Tally) for line in (folder / TALLIES).read_bytes().splitlines()]
    assert [tally.up_s for tally in told] == [7.0 * n for n in range(1, 11)]


def test_nothing_is_kept_where_nothing_crosses(config: Config, monkeypatch: pytest.MonkeyPatch) -> None:
    image = pictures([[None]])[0]
    run = kept(config, monkeypatch, Film([Frame(image, n / PER_S) for n in range(200)]), start_s=1000.0)
    assert ([*run.store.items()], run.said) == ([], [])


def test_a_film_that_cannot_keep_up_is_dropped_whole_and_told(
    config: Config, monkeypatch: pytest.MonkeyPatch, film: Film
) -> None:
    run = kept(config, monkeypatch, film, clerk=Clerk(most_bytes=100_000))
    (folder,) = run.clips()
    assert [path.name for path in folder.iterdir()] == [ABOUT]
    assert (run.about().left_out, run.about().frames) == (TOO_SLOW, 0)
    assert len(run.strips()) == len(run.counted)
    (line,) = run.said
    assert line.endswith(f"no film is kept: {TOO_SLOW}; counting goes on")


def test_of_a_film_that_was_spoilt_half_way_the_reason_alone_is_left(tmp_path: Path, film: Film) -> None:
    said: list[str] = []
    store = Store(tmp_path / "evidence", 10**8, said.append, free_bytes=0)
    reel, name = Reel(store, Label(0, "north", "b1", 1.0, None).name, PER_S), Label(1, "north", "b1", 1.0, None).name
    for frame in film.frames_[:50]:
        reel.add(frame)
    assert [path.name for path in store.part(Label(0, "north", "b1", 1.0, None).name).iterdir()] == ["clip.mp4"]
    reel.spoil("the camera moved")
    draw = Draw(seed="s", day="b1+0", part=1, parts=4, minute=0, minutes=15)
    about = About(site="orchard", station="north", boot="b1", up_s=1.0, seconds=60.0, draw=draw)
    reel.finish(name, about, (), GATE)
    assert [path.relative_to(store.folder) for path in store.folder.rglob("*.*") if path.is_file()] == [
        Path(name, ABOUT)
    ]


def test_a_minute_without_a_picture_says_so(config: Config, monkeypatch: pytest.MonkeyPatch, film: Film) -> None:
    def lost(moments: Iterator[Moment]) -> Iterator[Moment | Absence]:
        for moment in moments:
            yield Absence(moment.at_s, "unplugged") if moment.at_s >= 11.0 else moment

    run = kept(config, monkeypatch, film, shown=lost)
    assert run.about().left_out == "the camera gave no pictures"


def test_a_minute_that_began_unseen_says_so(config: Config, monkeypatch: pytest.MonkeyPatch, film: Film) -> None:
    def late(moments: Iterator[Moment]) -> Iterator[Moment | Absence]:
        return (moment for moment in moments if not 5.0 < moment.at_s < 17.0)

    run = kept(config, monkeypatch, film, shown=late)
    assert run.about().left_out == "the counter was not there at its beginning"


def test_a_counter_whose_time_begins_late_films_no_minute_that_was_before_it(
    config: Config, monkeypatch: pytest.MonkeyPatch, film: Film
) -> None:
    run = kept(config, monkeypatch, film, shown=lambda moments: (each for each in moments if each.at_s > 15.0))
    assert run.clips() == []


def test_a_film_that_the_end_cuts_off_leaves_nothing(config: Config, monkeypatch: pytest.MonkeyPatch) -> None:
    run = kept(config, monkeypatch, there_and_back(30.0))
    assert run.clips() == []
    assert [path.name for path in run.store.folder.iterdir() if path.name.startswith(".")] == []


def test_in_a_rush_a_burst_of_strips_is_kept_and_then_five_a_minute() -> None:
    allowance = Allowance()
    taken = [allowance.take(n * 0.1) for n in range(6000)]
    assert sum(taken) == pytest.approx(BURST + 10 * 5, abs=1)


def test_a_crossing_without_a_strip_leaves_its_number_out(
    config: Config, monkeypatch: pytest.MonkeyPatch, film: Film
) -> None:
    monkeypatch.setattr(Allowance, "take", lambda _self, at_s: not 20.0 < at_s < 40.0)
    run = kept(config, monkeypatch, film)
    numbers = [strip.passing.number for strip in run.strips() if strip.passing]
    dropped = [n for n, c in enumerate(run.counted, start=1) if n not in numbers]
    assert dropped
    assert max(numbers) == len(run.counted)


def test_strips_that_wait_for_a_slow_disk_are_bounded_by_the_memory_that_they_hold(
    config: Config, monkeypatch: pytest.MonkeyPatch, film: Film
) -> None:
    clerk, disk_is_back = Clerk(most_bytes=1_000_000), Event()
    clerk.give(disk_is_back.wait)
    monkeypatch.setattr(Clerk, "close", lambda self: (disk_is_back.set(), self._thread.shutdown()))
    run = kept(config, monkeypatch, film, start_s=1e6, clerk=clerk)
    assert 0 < len(run.strips()) < len(run.counted)


def test_the_film_of_a_drawn_station_has_its_station_file_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn = parse_config(f"{CONFIG.format(port=1, pace=0)}[evidence]\n", tmp_path / "device.toml")
    station = DrawnStation(1)
    monkeypatch.setattr(clips, "next_choice", chosen_at(1.0))
    with keeping(drawn, "b1", NOON_AT, print) as keeper:
        book = Book("north", "b1", NOON_AT, Clock.SYNCED, 5.0)
        for moment in itertools.islice(watch(station, station.station), 1400):
            keeper.see(moment, [*book.add(moment.crossings, moment.at_s)])
    (folder,) = (path for path in (tmp_path / "evidence").iterdir() if path.is_dir())
    gate = parse_station((folder / STATION).read_text(), "test").gate
    assert gate.start_px == pytest.approx(station.station.gate.start_px)
    assert (folder / "clip.mp4").stat().st_size > 0


def test_what_hinders_the_evidence_stands_in_the_health(config: Config) -> None:
    well = Health(station="north", state=StationState.WATCHING, checks=("look: heat: 71",))
    said: list[str] = []
    store = Store(config.spool.path.parent / "evidence", 10**8, said.append, free_bytes=2**62)
    keeper = Watchful(config, "b1", NOON_AT, store, Clerk(), said.append)
    store.keep(Label(1, "north", "b1", 1.0, None).name, b"x")
    keeper.close()
    assert keeper.told(well).checks[0] == "look: heat: 71"
    assert "MB are free on its disk" in keeper.told(well).checks[1]


def test_a_defect_of_the_evidence_does_not_end_the_count(
    config: Config, monkeypatch: pytest.MonkeyPatch, film: Film
) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("a defect")

    monkeypatch.setattr(Store, "keep", broken)
    run = kept(config, monkeypatch, film)
    assert len(run.counted) > 10
    assert sum("ZeroDivisionError: a defect" in line for line in run.said) == 1
    assert "a defect of its own" in str(run.store.trouble)


def test_without_a_wish_for_evidence_none_is_kept(config: Config) -> None:
    bare = msgspec.structs.replace(config, evidence=None)
    well = Health(station="north", state=StationState.WATCHING)
    with keeping(bare, "b1", NOON_AT, print) as keeper:
        keeper.see(Moment(Frame(pictures([[None]])[0], 0.0), [], [], []), [])
        assert keeper.told(well) == well
    assert [path.name for path in config.spool.path.parent.iterdir()] == ["station.toml"]


def test_evidence_lies_beside_the_spool_unless_said(config: Config) -> None:
    with keeping(config, "b1", NOON_AT, print) as keeper:
        assert keeper.store is not None
        assert keeper.store.folder == config.spool.path.parent / "evidence"
        assert (keeper.store.folder / "seed.txt").is_file()


def test_nothing_that_a_station_sends_of_a_start_tells_its_seed(tmp_path: Path) -> None:
    seeds = set[str]()
    for name in ("one", "other"):
        (tmp_path / name).mkdir()
        with keeping(configured(tmp_path / name), "b1", NOON_AT, print) as keeper:
            assert keeper.store is not None
            seeds.add(keeper.store.seed("none"))
    assert len(seeds) == 2
    assert seeds.isdisjoint({"b1", "none"})


def test_the_draw_of_a_real_store_is_reproducible_from_what_is_recorded(config: Config) -> None:
    with keeping(config, "b1", None, print) as keeper:
        assert keeper.store is not None
        first = next_choice(keeper.store.seed("b1"), 96, 0.0, "b1", None, None)
    with keeping(config, "b2", None, print) as keeper:
        assert keeper.store is not None
        assert next_choice(keeper.store.seed("b2"), 96, 0.0, "b1", None, None) == first
