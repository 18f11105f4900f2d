from collections.abc import Callable
from pathlib import Path

import clips
import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from swapbell_device.explain import CELL_PX, GAP_PX, HEAD_PX, ROWS_S, STAGES, Question, explain
from swapbell_device.main import watch
from swapbell_models.fault import Mistake

HEIGHT_PX = CELL_PX * 3 // 4
ASKED = ROWS_S.index(0.0)
# The body is in the gate's middle at this moment.
AT_S = 3.0
Ask = Callable[..., Path]


@pytest.fixture
def ask(tmp_path: Path) -> Ask:
    clip = clips.write_clip(
        tmp_path / "clip.avi", clips.pictures([[None] * 20 + clips.walk((20.0, 100.0), (300.0, 100.0), 81)])
    )
    (tmp_path / "station.toml").write_text(clips.STATION)

    def asking(at_s: float, out: str | None = "seen.png") -> Path:
        place = None if out is None else tmp_path / out
        return explain(Question(clip, tmp_path / "station.toml", at_s, None, place), watch)

    return asking


def cell(picture: NDArray[np.uint8], row: int, stage: str) -> NDArray[np.uint8]:
    """Return one cell of the sheet."""
    y = HEAD_PX + GAP_PX + row * (HEIGHT_PX + GAP_PX)
    x = STAGES.index(stage) * (CELL_PX + GAP_PX)
    return picture[y : y + HEIGHT_PX, x : x + CELL_PX]


def read(path: Path) -> NDArray[np.uint8]:
    return np.asarray(cv2.imread(str(path)), np.uint8)


def test_every_stage_of_every_row_is_there(ask: Ask) -> None:
    height, width, _ = read(ask(AT_S)).shape
    assert width == len(STAGES) * (CELL_PX + GAP_PX) - GAP_PX
    assert height == HEAD_PX + len(ROWS_S) * (HEIGHT_PX + GAP_PX)


def middle(where: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Return the middle of what is true, below the words in the corner."""
    return np.argwhere(where[40:]).mean(axis=0)


def test_the_body_lies_in_the_same_place_in_image_and_mask(ask: Ask) -> None:
    picture = read(ask(AT_S))
    dark, found = cell(picture, 0, "image").max(axis=2) < 100, cell(picture, 0, "mask").min(axis=2) > 200
    assert middle(dark) == pytest.approx(middle(found), abs=12.0)  # it may have been found a few frames before


def test_the_body_goes_on_from_row_to_row(ask: Ask) -> None:
    picture = read(ask(AT_S))
    dark = [middle(cell(picture, row, "image").max(axis=2) < 100)[1] for row in range(len(ROWS_S))]
    assert dark == sorted(dark)
    assert dark[ASKED] == pytest.approx(CELL_PX / 2, abs=6.0)


def test_a_moment_after_the_end_is_refused_and_leaves_nothing(ask: Ask, tmp_path: Path) -> None:
    with pytest.raises(Mistake, match=r"--at 60: clip .*clip\.avi ends at 5\.00 s"):
        ask(60.0)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["clip.avi", "station.toml"]


@pytest.mark.parametrize("at_s", [0.0, 4.99])
def test_the_first_and_the_last_moment_are_in_the_clip(ask: Ask, at_s: float) -> None:
    assert ask(at_s).is_file()


@pytest.mark.parametrize("at_s", [-0.1, float("nan")])
def test_a_moment_before_the_clip_is_refused(ask: Ask, at_s: float) -> None:
    with pytest.raises(Mistake, match="begins at 0 s"):
        ask(at_s)


@pytest.mark.parametrize(("out", "says"), [("seen.jpg", "end its name in .png"), ("gone/seen.png", "does not exist")])
def test_a_picture_without_a_place_is_refused(ask: Ask, out: str, says: str) -> None:
    with pytest.raises(Mistake, match=says):
        ask(AT_S, out)


def test_the_picture_lies_where_one_is(ask: Ask, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert ask(2.5, None) == Path("clip-at-2.5s.png")
    assert (tmp_path / "clip-at-2.5s.png").is_file()
