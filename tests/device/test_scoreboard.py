import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from swapbell_device.camera import Camera, Clip, read_times
from swapbell_device.drawing.conditions import draw
from swapbell_device.drawing.film import film
from swapbell_device.drawing.scene import Scene
from swapbell_device.drawing.traffic import BuildUp
from swapbell_device.drawn import DrawnStation
from swapbell_device.main import score_counter
from swapbell_device.moment import Moment
from swapbell_device.scoring.score import Score, events, known
from swapbell_device.scoring.scoreboard import Case, cases, scores
from swapbell_device.scoring.scoretable import as_json, as_table
from swapbell_device.stationfile import StationFile, read_station
from swapbell_device.truthfile import read_truth
from swapbell_models.fault import Breakdown, Mistake


@pytest.fixture(scope="module")
def station() -> Scene:
    return DrawnStation(seed=3, size=(160, 120), mm_per_px=0.5, traffic=BuildUp(40.0, 120.0, 120.0))


@pytest.fixture(scope="module")
def folder(station: Scene, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("clips")
    film(station, "drawn-3", "drawn", folder)
    return folder


def _knowing(scene: Scene):
    """A counter that makes no error: it knows the truth."""

    def watch(camera: Camera, station: StationFile) -> Iterator[Moment]:
        frame = next(iter(camera.frames()))
        yield Moment(frame, [], [], list(scene.truth))

    return watch


def test_a_film_keeps_every_pixel(station: Scene, folder: Path) -> None:
    for drawn, read in zip(station.frames(), Clip(folder / "drawn-3.avi").frames(), strict=True):
        assert np.array_equal(drawn.image, read.image)
        assert read.at_s == pytest.approx(drawn.at_s, abs=1e-3)


def test_a_films_truth_and_station_file_are_those_of_the_scene(station: Scene, folder: Path) -> None:
    truth = read_truth(folder / "drawn-3.truth.json")
    assert known(truth) == events(station.truth)
    assert truth.station("x") == read_station(folder / "drawn-3.station.toml") == station.station
    assert truth.times is None


def test_uneven_frames_and_angled_views_come_back_as_they_were(tmp_path: Path) -> None:
    uneven, angled = draw("uneven", 1), draw("angled", 1)
    for scene, name in ((uneven, "uneven"), (angled, "angled")):
        short = Scene(scene.sight, scene.opening, scene.times_s[:20], scene.board, (), scene.painter)
        film(short, name, name, tmp_path)
    assert read_times(tmp_path / "uneven.times.txt") == pytest.approx(uneven.times_s[:20], abs=1e-6)
    view = read_truth(tmp_path / "angled.truth.json").station("x").view
    assert view.to_mm(100.0, 200.0) == pytest.approx(angled.station.view.to_mm(100.0, 200.0), abs=1e-6)


def test_a_counter_that_knows_the_truth_scores_one(station: Scene, folder: Path) -> None:
    board = scores(cases(folder, False, 1, ()), _knowing(station))
    assert board["drawn"].whole.f1 == 1.0
    assert board["drawn"].length_error_mm == 0.0


def test_scenes_of_one_condition_are_scored_together(station: Scene) -> None:
    case = Case("drawn 3", "drawn", station, station.station, events(station.truth))
    board = scores([case, case], _knowing(station))
    assert board["drawn"].whole.true == 2 * len(station.truth)


def test_the_table_has_a_row_for_each_condition_and_one_for_all(station: Scene) -> None:
    case = Case("drawn 3", "drawn", station, station.station, events(station.truth))
    lines = as_table(scores([case], _knowing(station)) | {"nothing": Score()}).splitlines()
    assert [line.split()[0] for line in lines[:4]] == ["condition", "drawn", "nothing", "all"]
    assert len({len(line) for line in lines[:4]}) == 1
    assert lines[2].split()[1:5] == ["0", "0", "-", "-"]


def test_json_says_null_where_there_is_nothing_to_tell() -> None:
    figures = json.loads(as_json({"nothing": Score()}))
    assert figures["conditions"][0]["f1"] is None
    assert figures["summary"]["macro_f1"] is None


def test_the_command_makes_the_tables_of_a_page(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    score_counter(folder, drawn=False, only=None, as_json=False, markdown=True)
    told = capsys.readouterr().out.splitlines()
    assert told[0].startswith("Counted on ")
    assert told[-1].startswith("| drawn | ")


def test_json_or_a_page_but_not_both(folder: Path) -> None:
    with pytest.raises(Mistake, match="give --json or --markdown, not both"):
        score_counter(folder, drawn=False, only=None, as_json=True, markdown=True)


@pytest.mark.parametrize(("given_folder", "drawn"), [(None, False), (Path(), True)])
def test_one_of_folder_and_drawn_is_needed(given_folder: Path | None, drawn: bool) -> None:
    with pytest.raises(Mistake, match="give either a folder of clips with their truths, or --drawn"):
        cases(given_folder, drawn, 1, ())


def test_a_condition_that_no_clip_shows_is_a_mistake_before_anything_is_counted(folder: Path) -> None:
    with pytest.raises(Mistake, match=r"clips.* holds no clip of 'rain'; --only takes drawn$"):
        cases(folder, False, 1, ["drawn", "rain"])


def test_only_the_clips_of_a_condition_are_scored(folder: Path) -> None:
    assert [case.name for case in cases(folder, False, 1, ["drawn"])] == ["drawn-3"]


def test_a_folder_without_truth_is_a_mistake(tmp_path: Path) -> None:
    with pytest.raises(Mistake, match=r"no \*\.truth\.json in it"):
        list(cases(tmp_path, False, 1, ()))


@pytest.mark.parametrize("text", ["", "[]", '{"clip": "a.avi"}', '{"clip": 3}'])
def test_a_broken_truth_is_a_mistake(tmp_path: Path, text: str) -> None:
    (tmp_path / "a.truth.json").write_text(text)
    with pytest.raises(Mistake, match=r"truth .*a\.truth\.json: "):
        list(cases(tmp_path, False, 1, ()))


def test_an_unknown_condition_is_a_mistake_before_anything_is_counted() -> None:
    with pytest.raises(Mistake, match="there is no such condition"):
        cases(None, True, 1, ["calm", "snow"])


def test_a_film_into_a_folder_that_is_not_there_is_a_mistake(station: Scene, tmp_path: Path) -> None:
    with pytest.raises(Mistake, match="does not exist"):
        film(station, "x", "x", tmp_path / "missing")


@pytest.mark.part("tmpfs")
def test_a_full_disk_is_told_and_nothing_is_left_half_written(small_disk: Path) -> None:
    with pytest.raises(Breakdown, match=r"/drawn\.avi: .*free some space"):
        film(DrawnStation(seed=1, traffic=BuildUp(20.0, 10.0, 10.0)), "drawn", "drawn", small_disk)
    assert list(small_disk.iterdir()) == []
