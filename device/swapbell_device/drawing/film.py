"""A drawn scene on disk: a clip without loss, its station file, its times where they are uneven, and its truth."""

from pathlib import Path

import cv2
import msgspec
import numpy as np

from swapbell_device.count import whole
from swapbell_device.drawing.conditions import draw
from swapbell_device.drawing.scene import Scene
from swapbell_device.truthfile import SUFFIX, TrueCrossing, Truth
from swapbell_models.fault import Breakdown, Mistake
from swapbell_models.optics import Square

# FFV1 keeps every pixel and is in OpenCV's wheels (tried); RFC 9043.
CODEC = "FFV1"
# Our choice: frames whose steps differ by less than this part come evenly.
EVEN_PART = 0.01


def film_condition(condition: str, seed: int, folder: Path) -> list[Path]:
    """Draw a condition's scene and write its files into a folder; see `film`."""
    if not folder.is_dir():
        raise Mistake(f"folder {folder}: there is no such folder; create it or choose another place")
    return film(draw(condition, seed), f"{condition}-{seed}", condition, folder)


def film(scene: Scene, name: str, condition: str, folder: Path) -> list[Path]:
    """Write a scene's files into a folder and return their paths; none is left half-written.

    Parameters
    ----------
    scene : Scene
        What to draw.
    name : str
        Name of the files without their endings.
    condition : str
        What the scene shows, for the truth.
    folder : Path
        An existing folder.

    Raises
    ------
    Mistake
        If the folder does not exist.
    Breakdown
        If a file cannot be written.
    """
    truth = truth_of(scene, name, condition)
    written = [folder / truth.clip]
    with whole(folder / truth.clip) as part:
        _write_clip(scene, part, written[0])
    texts = {f"{name}.station.toml": truth.station_text(), f"{name}{SUFFIX}": _json(truth)}
    if truth.times:
        texts[truth.times] = "".join(f"{at_s:.6f}\n" for at_s in scene.times_s.tolist())
    for file, text in texts.items():
        with whole(folder / file) as part:
            part.write_text(text, encoding="utf-8")
        written.append(folder / file)
    return written


def truth_of(scene: Scene, name: str, condition: str) -> Truth:
    """Return what is true of a scene's clip of that name."""
    gate, optics = scene.station.gate, scene.sight.optics
    square = isinstance(optics, Square)
    corners = tuple(scene.sight.corners_px())
    return Truth(
        clip=f"{name}.avi",
        gate=(gate.start_px, gate.end_px),
        in_side_point=gate.inside_px,
        crossings=tuple(
            TrueCrossing(t_s=c.at_s, direction=c.direction, size=c.size, length_mm=c.length_mm) for c in scene.truth
        ),
        times=None if _is_even(scene) else f"{name}.times.txt",
        mm_per_px=optics.scale if isinstance(optics, Square) else None,
        plane_px=None if square else corners,
        plane_mm=None if square else tuple(optics.to_mm(*corner) for corner in corners),
        condition=condition,
    )


def _is_even(scene: Scene) -> bool:
    steps = np.diff(scene.times_s)
    return float(np.ptp(steps)) < EVEN_PART * float(np.mean(steps))


def _json(truth: Truth) -> str:
    return msgspec.json.format(msgspec.json.encode(truth), indent=1).decode() + "\n"


def _write_clip(scene: Scene, part: Path, clip: Path) -> None:
    rate = (len(scene.times_s) - 1) / float(scene.times_s[-1])
    writer = cv2.VideoWriter(str(part), cv2.VideoWriter.fourcc(*CODEC), rate, scene.size, isColor=False)
    if not writer.isOpened():
        raise Breakdown(f"clip {clip}: this OpenCV cannot write {CODEC}; install opencv-python-headless")
    for frame in scene.frames():
        writer.write(frame.image)
    writer.release()
    # The writer says nothing of a full disk; what it wrote does.
    if cv2.VideoCapture(str(part)).get(cv2.CAP_PROP_FRAME_COUNT) != len(scene.times_s):
        raise Breakdown(f"clip {clip}: only a part could be written; free some space or choose another place")
