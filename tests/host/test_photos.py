from pathlib import Path

import pytest

from swapbell_host.books import photos
from swapbell_models.fault import Breakdown, Mistake

JPEG = b"\xff\xd8\xff\xe0 a photo, invented"


@pytest.mark.parametrize(
    ("content", "ending"),
    [
        (JPEG, ".jpg"),
        (b"\x89PNG\r\n\x1a\n", ".png"),
        (b"RIFF....WEBPVP8 ", ".webp"),
        (b"\0\0\0\x18ftypheic", ".heic"),
    ],
)
def test_a_photo_is_kept_whole_under_a_name_of_its_content(tmp_path: Path, content: bytes, ending: str) -> None:
    name = photos.keep(tmp_path / "photos", content)
    assert name.endswith(ending)
    assert name == Path(name).name
    assert [path.name for path in (tmp_path / "photos").iterdir()] == [name]
    assert (tmp_path / "photos" / name).read_bytes() == content


def test_the_same_photo_is_kept_once(tmp_path: Path) -> None:
    assert photos.keep(tmp_path, JPEG) == photos.keep(tmp_path, JPEG)
    assert len(list(tmp_path.iterdir())) == 1


@pytest.mark.parametrize("content", [b"", b"<script>", b"%PDF-1.7", b"\x7fELF"])
def test_what_is_no_photo_is_refused(tmp_path: Path, content: bytes) -> None:
    with pytest.raises(Mistake, match="neither a JPEG, PNG, WebP nor HEIF"):
        photos.keep(tmp_path, content)
    assert list(tmp_path.iterdir()) == []


def test_a_photo_that_is_too_large_is_refused(tmp_path: Path) -> None:
    large = tmp_path / "large.jpg"
    large.write_bytes(JPEG)
    with large.open("r+b") as file:
        file.truncate(photos.PHOTO_MAX_BYTES + 1)
    with pytest.raises(Mistake, match="more than 50 MB"):
        photos.keep_file(tmp_path / "photos", large)
    assert not (tmp_path / "photos").exists()


def test_a_file_of_any_name_is_copied_under_a_safe_one(tmp_path: Path) -> None:
    path = tmp_path / '..<b>"🐝.exe'
    path.write_bytes(JPEG)
    assert photos.keep_file(tmp_path / "photos", path) == photos.keep(tmp_path / "photos", JPEG)


@pytest.mark.parametrize("name", ["missing.jpg", "."])
def test_a_file_that_cannot_be_read_is_the_callers_mistake(tmp_path: Path, name: str) -> None:
    with pytest.raises(Mistake, match="check the path"):
        photos.keep_file(tmp_path / "photos", tmp_path / name)


def test_a_store_that_cannot_be_written_is_said_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "photos").write_text("no folder")
    with pytest.raises(Breakdown, match=r"photo store .*photos: "):
        photos.keep(tmp_path / "photos", JPEG)
