"""How the page looks, as far as its own files tell: contrast, colours, foreign parts, forms."""

import re
from collections.abc import Iterator
from itertools import product
from pathlib import Path

import pytest

from swapbell_host.page.serving.app import STATIC
from swapbell_host.page.serving.drawing import TEMPLATES

# The goal for reading in the sun; WCAG 2.2 asks for 7:1 at its highest level (1.4.6).
CONTRAST_MIN = 10.0
GROUNDS = ("paper", "shade", "band")
INKS = ("ink", "line", "alarm", "calm", "sky")
COLOUR = re.compile(r"#[0-9a-f]{3,8}\b|\b(?:rgb|hsl|oklch|lab|lch|color)a?\(", re.IGNORECASE)
NAMED = re.compile(r":\s*(?:white|black|gray|grey|red|green|blue|yellow|orange|silver)\b")


def ours(*endings: str) -> list[Path]:
    """Return the page's own files; what is vendored looks as its makers like."""
    files = [*STATIC.rglob("*"), *TEMPLATES.rglob("*")]
    return [path for path in files if path.suffix in endings and "vendor" not in path.parts]


def colours() -> dict[str, str]:
    css = (STATIC / "page.css").read_text(encoding="utf-8")
    return dict(re.findall(r"--([a-z]+): (#[0-9a-f]{6});", css))


def luminance(colour: str) -> float:
    """WCAG 2.2, relative luminance."""
    parts = [int(colour[n : n + 2], 16) / 255.0 for n in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, contrast ratio."""
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def without_comments(css: str) -> str:
    return re.sub(r"/\*[\s\S]*?\*/", "", css)


def test_the_contrast_of_black_on_white_is_as_published() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)  # WCAG 2.2, 1.4.3, note on the range
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)  # W3C, technique G18: just fails 4.5:1


@pytest.mark.parametrize(("ink", "ground"), [*product(INKS, GROUNDS)])
def test_every_ink_is_read_in_the_sun_on_every_ground(ink: str, ground: str) -> None:
    assert contrast(colours()[ink], colours()[ground]) >= CONTRAST_MIN


def test_every_colour_is_an_ink_or_a_ground() -> None:
    assert set(colours()) == {*INKS, *GROUNDS}


@pytest.mark.parametrize("path", ours(".css", ".js"), ids=lambda path: path.name)
def test_no_other_file_has_a_colour_of_its_own(path: Path) -> None:
    text = without_comments(path.read_text(encoding="utf-8"))
    if path.name == "page.css":
        text = re.sub(r":root \{[^}]*\}", "", text)
    assert [*COLOUR.findall(text), *NAMED.findall(text)] == []


@pytest.mark.parametrize("path", ours(".css", ".js"), ids=lambda path: path.name)
def test_nothing_is_paler_than_its_ink(path: Path) -> None:
    text = without_comments(path.read_text(encoding="utf-8"))
    assert re.findall(r"(?<![-\w])opacity:(?!\s*1\b)[^;]+", text) == []


def test_whoever_wants_no_motion_sees_none() -> None:
    assert "prefers-reduced-motion: reduce" in (STATIC / "page.css").read_text(encoding="utf-8")


@pytest.mark.parametrize("path", ours(".css", ".js", ".html", ".svg"), ids=lambda path: path.name)
def test_nothing_is_fetched_from_elsewhere(path: Path) -> None:
    text = path.read_text(encoding="utf-8").replace("http://www.w3.org/2000/svg", "")
    assert re.findall(r"https?://|[\"'(]//\w", without_comments(text)) == []


@pytest.mark.parametrize("path", ours(".html"), ids=lambda path: path.name)
def test_a_template_holds_no_script_and_no_style(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert re.findall(r"<style|\sstyle=|<script(?![^>]*\ssrc=)|\son[a-z]+=|javascript:", text) == []


@pytest.mark.parametrize("path", ours(".html"), ids=lambda path: path.name)
def test_no_template_takes_data_for_markup(path: Path) -> None:
    assert re.findall(r"\|\s*safe\b|autoescape", path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("path", ours(".html"), ids=lambda path: path.name)
def test_every_form_that_changes_something_carries_its_key(path: Path) -> None:
    assert [form for form in posts(path) if "forgery_field()" not in form] == []


def posts(path: Path) -> Iterator[str]:
    for form in re.findall(r"<form\b[\s\S]*?</form>", path.read_text(encoding="utf-8")):
        if re.search(r'method="post"', form, re.IGNORECASE):
            yield form
