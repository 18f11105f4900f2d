from pathlib import Path

import clips
import pytest

from swapbell_device.camera import Clip, read_times
from swapbell_models.fault import Mistake


@pytest.fixture
def clip(tmp_path: Path) -> Path:
    return clips.write_clip(tmp_path / "clip.avi", [clips.board()] * 40)


def test_every_frame_comes_once_with_its_time(clip: Path) -> None:
    times = [frame.at_s for frame in Clip(clip).frames()]
    assert times == pytest.approx([i / clips.PER_S for i in range(40)], abs=1e-3)


def test_frames_are_luma_of_the_stated_size(clip: Path) -> None:
    camera = Clip(clip)
    assert camera.size == clips.SIZE
    assert next(camera.frames()).image.shape == (240, 320)


def test_given_times_replace_the_clips_own(clip: Path) -> None:
    times = [5.0 + 0.1 * i * i for i in range(1, 41)]
    assert [frame.at_s for frame in Clip(clip, times).frames()] == pytest.approx([t - times[0] for t in times])


def test_too_few_times_are_refused(clip: Path) -> None:
    with pytest.raises(Mistake, match="holds 39 times"):
        list(Clip(clip, [float(i) for i in range(39)]).frames())


@pytest.mark.parametrize("number", [41, 400])
def test_too_many_times_are_refused_at_the_end(clip: Path, number: int) -> None:
    with pytest.raises(Mistake, match=f"holds {number} times, but .* has 40 frames"):
        list(Clip(clip, [float(i) for i in range(number)]).frames())


def test_a_last_frame_that_the_decoder_keeps_may_have_its_time(clip: Path) -> None:
    camera = Clip(clip, [float(i) for i in range(42)])
    camera.frames_promised = 42
    assert len(list(camera.frames())) == 40


def test_a_missing_clip_is_named(tmp_path: Path) -> None:
    with pytest.raises(Mistake, match=r"gone\.mp4: there is no such file"):
        Clip(tmp_path / "gone.mp4")


def test_a_folder_is_no_clip(tmp_path: Path) -> None:
    with pytest.raises(Mistake, match="it is a folder; give one video in it"):
        Clip(tmp_path)


def test_an_empty_clip_is_named(tmp_path: Path) -> None:
    (tmp_path / "empty.mp4").touch()
    with pytest.raises(Mistake, match="empty"):
        Clip(tmp_path / "empty.mp4")


def test_a_text_is_no_video(tmp_path: Path) -> None:
    (tmp_path / "text.mp4").write_text("no video at all\n" * 100)
    with pytest.raises(Mistake, match="not a video"):
        Clip(tmp_path / "text.mp4")


@pytest.mark.parametrize("share", [0.9, 0.6, 0.3])
def test_a_clip_that_was_cut_off_is_refused(clip: Path, tmp_path: Path, share: float) -> None:
    raw = clip.read_bytes()
    (tmp_path / "cut.avi").write_bytes(raw[: int(share * len(raw))])
    with pytest.raises(Mistake, match="ends early"):
        list(Clip(tmp_path / "cut.avi").frames())


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("0.0\n0.1\n0.1\n", "does not go forward at line 3"),
        ("0.0\n0.2\n0.1\n", "does not go forward at line 3"),
        ("0.0\n\n0.2\n0.1\n", "does not go forward at line 4"),
        ("0.0\nsoon\n", "line 2 must be one number in seconds, not 'soon'"),
        ("0.0\n\n0.1 0.2\n", "line 3 must be one number in seconds, not '0.1 0.2'"),
        ("0.0\nnan\n", "line 2 must be one number in seconds, not 'nan'"),
        ("\n", "it holds nothing"),
    ],
)
def test_times_that_no_clock_gives_are_refused(tmp_path: Path, text: str, says: str) -> None:
    (tmp_path / "times.txt").write_text(text)
    with pytest.raises(Mistake, match=says):
        read_times(tmp_path / "times.txt")


def test_a_times_file_that_is_no_text_is_named(tmp_path: Path) -> None:
    (tmp_path / "times.txt").write_bytes(b"\xff\xfe")
    with pytest.raises(Mistake, match="it is no text"):
        read_times(tmp_path / "times.txt")


def test_a_missing_times_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(Mistake, match=r"gone\.txt"):
        read_times(tmp_path / "gone.txt")
