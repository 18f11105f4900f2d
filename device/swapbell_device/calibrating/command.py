"""What the command `calibrate` does: a picture and a card, or what a person states, to a station file."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from swapbell_device.calibrating.finding import Unusable, find
from swapbell_device.calibrating.fitting import Calibration, Marked, calibrate
from swapbell_device.calibrating.picture import draw_result, read_picture, take_picture
from swapbell_device.calibrating.sheet import station_toml, words, write_station
from swapbell_device.calibrating.stated import by_length, by_rectangle, length, points, sides
from swapbell_device.config import BoardSection, UsbSection, read_config
from swapbell_device.count import is_same
from swapbell_device.sharpness import sharpness
from swapbell_device.stationfile import GateLine, StationFile, parse_station, read_station
from swapbell_models.fault import Mistake
from swapbell_models.focus import WORKER_WIDTH_MM, Focus, focus, focus_words

RULER_MM = 100.0
# Our choice: what is left of a sensor's noise in the middle one of some pictures [levels].
STILL_NOISE = 1.5
# Our choice: no printer is further off; who measures more or less read another scale.
RULER_WITHIN_MM = 10.0


@dataclass(frozen=True, slots=True)
class Wish:
    """What the command line asks for; None where it does not.

    Attributes
    ----------
    picture, out, drawn
        What is read; the station file; the picture of what came of it.
    gate_width_mm, ruler_mm
        Of a calibration by the card: how wide the gate is, and how long the printed ruler came out [mm].
    length, rectangle
        Of one without a card: what a person read off the picture and measured on the board.
    gate, inside
        The gate's ends and a point on the station's side, in the picture.
    expected
        The station file that the enclosure's design foresees.
    config
        The counter's configuration: its camera takes the picture, and what it names is the station file.
    """

    picture: Path | None
    out: Path | None
    drawn: Path
    gate_width_mm: float | None = None
    ruler_mm: float = RULER_MM
    length: str | None = None
    rectangle: str | None = None
    gate: str | None = None
    inside: str | None = None
    expected: Path | None = None
    config: Path | None = None


def calibrate_station(wish: Wish) -> list[str]:
    """Calibrate, write the station file and the picture, and return what is to be said.

    Raises
    ------
    Mistake
        If the picture cannot be read or used, or what is stated cannot be.
    Breakdown
        If a result cannot be written.
    """
    check(wish)
    expected = read_expected(wish)
    what, picture = _picture(wish)
    try:
        made = by_card(wish, picture) if wish.length is None and wish.rectangle is None else _by_word(wish)
    except Unusable as unusable:
        raise Mistake(f"{what}: {unusable}") from unusable
    check_gate(made, picture, _gate(wish))
    return write(wish, picture, made, told(picture, made, expected))


def read_expected(wish: Wish) -> StationFile | None:
    """Return what the design foresees, if that was given."""
    return read_station(wish.expected) if wish.expected else None


def told(picture: NDArray[np.uint8], made: Calibration, expected: StationFile | None) -> list[str]:
    """Return what is to be said of a calibration and of the picture that it was made by, a line each."""
    return [*words(made, expected), *_focus(picture, made)]


def _focus(picture: NDArray[np.uint8], made: Calibration) -> Iterator[str]:
    found = sharpness(picture, STILL_NOISE, made.mm_per_px)
    if found is not None:
        look = "focus" if focus(found) is Focus.SHARP else "look"
        yield f"{look}: {focus_words(found)}, a worker's body {WORKER_WIDTH_MM:.0f} mm"


def write(wish: Wish, picture: NDArray[np.uint8], made: Calibration, said: list[str]) -> list[str]:
    """Write the station file and the picture of what came of it, and return what is to be said."""
    out = station_path(wish)
    draw_result(wish.drawn, picture, made, said)
    write_station(out, made)
    return [*said, f"written: {out}; look at {wish.drawn}: the net is 10 mm wide, the arrow points inside"]


def check_gate(made: Calibration, picture: NDArray[np.uint8], what: str) -> None:
    """Refuse a gate that reaches out of the picture, by the name of what put it there."""
    height, width = picture.shape
    for x, y in (made.gate.start_px, made.gate.end_px):
        if not (0.0 <= x <= width and 0.0 <= y <= height):
            raise Mistake(
                f"{what}: its end at ({x:.0f}, {y:.0f}) px lies outside the picture of {width} x {height} px"
            )
    parse_station(station_toml(made), what)


def _gate(wish: Wish) -> str:
    return "--gate" if wish.gate else "the card's gate" if wish.gate_width_mm is None else "--gate-width"


def _picture(wish: Wish) -> tuple[str, NDArray[np.uint8]]:
    """Return the picture, and what to call it in a complaint."""
    if wish.picture is not None:
        return str(wish.picture), read_picture(wish.picture)
    assert wish.config is not None
    return "the camera's picture", take_picture(live_camera(wish.config))


def live_camera(config: Path) -> BoardSection | UsbSection:
    """Return the camera of a configuration, or refuse one that is a recording or a drawing."""
    camera = read_config(config).camera
    if not isinstance(camera, BoardSection | UsbSection):
        raise Mistake(f"configuration {config}: its camera takes no pictures; give a still or a clip instead")
    return camera


def station_path(wish: Wish) -> Path:
    """Return where the station file goes."""
    named = read_config(wish.config).station_file if wish.config else None
    return wish.out or named or Path("station.toml")


def check(wish: Wish) -> None:
    """Refuse a wish that contradicts itself.

    Raises
    ------
    Mistake
        If it names no picture or two, half of what a calibration without a card needs, or what cannot be.
    """
    for option, result in (("--out", wish.out), ("--picture", wish.drawn)):
        if result is not None and wish.picture is not None and is_same(result, wish.picture):
            raise Mistake(f"{option} {result}: that is the picture to calibrate on; choose another name")
    if wish.picture is None and wish.config is None:
        raise Mistake("calibrate: give a picture of the board, or --config, whose camera takes one")
    if wish.picture is not None and wish.config is not None:
        raise Mistake(f"calibrate: give the picture {wish.picture} or --config {wish.config}, not both")
    stated = wish.length is not None or wish.rectangle is not None
    if wish.length is not None and wish.rectangle is not None:
        raise Mistake("calibrate: give --length or --rectangle, not both")
    if stated != (wish.gate is not None) or stated != (wish.inside is not None):
        raise Mistake("calibrate: without a card, give --length or --rectangle together with --gate and --inside")
    if not abs(wish.ruler_mm - RULER_MM) <= RULER_WITHIN_MM:
        raise Mistake(
            f"--ruler: {wish.ruler_mm:g} mm is too far from {RULER_MM:g}; measure the printed ruler, in millimetres"
        )
    if wish.gate_width_mm is not None and not 1.0 <= wish.gate_width_mm <= 1000.0:  # noqa: PLR2004  (any board)
        raise Mistake(f"--gate-width: must be from 1 to 1000 mm, not {wish.gate_width_mm:g}")


def by_card(wish: Wish, picture: NDArray[np.uint8]) -> Calibration:
    """Return the calibration by the card in a picture.

    Raises
    ------
    Unusable
        If it cannot be measured well enough.
    """
    seen, printed = find(picture), wish.ruler_mm / RULER_MM
    along, across = (side / 2.0 * printed for side in seen.card.size_mm)
    half = across if wish.gate_width_mm is None else wish.gate_width_mm / 2.0
    gate_mm = ((along, across - half), (along, across + half))
    marked = Marked(seen.corners_px, seen.corners_mm * printed, gate_mm, (2.0 * along, across))
    return calibrate(marked, (picture.shape[1], picture.shape[0]))


def _by_word(wish: Wish) -> Calibration:
    start, end = points("--gate", wish.gate or "", 2)
    gate = GateLine(start, end, points("--inside", wish.inside or "", 1)[0])
    try:
        if wish.length is not None:
            return by_length(*length(wish.length), gate)
        return by_rectangle(*sides(wish.rectangle or ""), gate)
    except ValueError as error:
        raise Mistake(f"calibrate: {error}") from error
