import re
from pathlib import Path

import pytest

from swapbell_enclosure.paper import Paper


def drawn(path: Path) -> str:
    sheet = Paper("a square", size_mm=(100.0, 60.0))
    sheet.box((20.0, 10.0), (70.0, 40.0))
    sheet.save(path)
    return path.read_text(encoding="latin-1")


def test_a_sheet_is_as_large_as_it_says(tmp_path: Path) -> None:
    # SVG 1.1, section 7.10: 1 pt is 1/72 in.
    width, height = re.findall(
        r'<svg[^>]*?(?:width|height)="([\d.]+)pt"[^>]*?height="([\d.]+)pt"', drawn(tmp_path / "a.svg")
    )[0]
    assert (float(width), float(height)) == pytest.approx((100.0 / 25.4 * 72, 60.0 / 25.4 * 72), abs=0.01)


def test_a_pdf_page_is_as_large_as_the_sheet(tmp_path: Path) -> None:
    page = re.findall(r"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", drawn(tmp_path / "a.pdf"))[0]
    assert tuple(map(float, page)) == pytest.approx((100.0 / 25.4 * 72, 60.0 / 25.4 * 72), abs=0.01)


def test_fifty_millimetres_are_fifty_millimetres(tmp_path: Path) -> None:
    # The lower side of the box, in points.
    paths = re.findall(r'd="M ([\d.]+) ([\d.]+) \nL ([\d.]+) ([\d.]+) ', drawn(tmp_path / "a.svg"))
    lengths = [abs(float(x1) - float(x0)) for x0, y0, x1, y1 in paths if y0 == y1]
    assert min((abs(length - 50.0 / 25.4 * 72) for length in lengths), default=9.0) < 0.01


def test_the_same_sheet_is_the_same_file(tmp_path: Path) -> None:
    assert drawn(tmp_path / "a.svg") == drawn(tmp_path / "b.svg")
