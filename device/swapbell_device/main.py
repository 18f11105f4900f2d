"""The station's command line, and the way of a frame."""

import os
import platform
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from swapbell_models import fault

if TYPE_CHECKING:
    from swapbell_device.calibrating.command import Wish
    from swapbell_device.camera import Camera
    from swapbell_device.following.track import Blob, Track
    from swapbell_device.moment import Moment
    from swapbell_device.seeing.segment import Segmenter
    from swapbell_device.stationfile import StationFile

app = typer.Typer(
    help="Watches the opening of a bait station and counts who goes in and out.\n\n"
    "Example: swapbell-device count evening.mp4 --station station.toml",
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    no_args_is_help=True,
)


@app.callback()
def device() -> None:
    """Watch the opening of a bait station and count who goes in and out."""


def watch(
    camera: "Camera", station: "StationFile", meet: "Callable[[Segmenter], object] | None" = None
) -> Iterator["Moment"]:
    """Yield what every frame of a camera shows: blobs, tracks, crossings. This is the whole way of a frame.

    Whoever wants to see how blobs are found is made to `meet` the segmenter at first.
    """
    from swapbell_device.following.tracker import Tracker
    from swapbell_device.gate import Gate
    from swapbell_device.moment import Moment, opened
    from swapbell_device.seeing.segment import Segmenter
    from swapbell_device.seeing.window import Window
    from swapbell_device.sight import Lookout

    station.check_size(camera.size)
    opening, frames = opened(camera.frames())
    if not opening:
        return
    window = Window(station, camera.size)
    segmenter, lookout = Segmenter(window, opening), Lookout(window.view, window.mm_per_px / window.step)
    opening.clear()
    if meet is not None:
        meet(segmenter)
    tracker, gate = Tracker(), Gate(station)
    blobs: list[Blob] = []
    tracks: list[Track] = []
    for frame in frames:
        new = segmenter.blobs(frame)
        if new is not None:
            blobs, tracks = new, tracker.step(new, frame.at_s)
        crossings = [] if new is None else gate.cross(tracks, frame.at_s)
        yield Moment(frame, blobs, tracks, crossings, lookout.look(frame, tracks), segmenter.covered)


@app.command("count")
def count_clip(
    clip: Annotated[Path, typer.Argument(help="A video of the opening, in any format that OpenCV reads.")],
    station: Annotated[Path, typer.Option("--station", help="The station file: scale or plane, and the gate line.")],
    events: Annotated[
        Path | None, typer.Option("--events", help="Write the crossings here instead of stdout.")
    ] = None,
    times: Annotated[
        Path | None, typer.Option("--times", help="Capture time of each frame in seconds, one per line.")
    ] = None,
    video: Annotated[
        Path | None, typer.Option("--video", help="Also draw gate, tracks and counts over the clip.")
    ] = None,
) -> None:
    """Count the crossings of a clip, one JSON object per line.

    A body's length alone cannot tell a wasp from a honey bee, a hoverfly or a large blowfly.

    Example: swapbell-device count evening.mp4 --station station.toml --events evening.jsonl
    """
    from swapbell_device.count import Wish, count

    count(Wish(clip, station, events, times, video), watch)


@app.command("card")
def print_cards(
    out: Annotated[Path, typer.Option("--out", help="The PDF.")] = Path("cards.pdf"),
    paper: Annotated[str, typer.Option("--paper", help="a4 or letter.")] = "a4",
) -> None:
    """Write the calibration cards as a PDF at exact scale, with a ruler that shows whether the printer kept it.

    Example: swapbell-device card --paper letter --out cards.pdf
    """
    from swapbell_device.calibrating.paper import paper_of, write_cards

    write_cards(out, paper_of(paper))
    typer.echo(out)


@app.command("calibrate")
def calibrate_view(
    picture: Annotated[Path | None, typer.Argument(help="A still or a clip of the board with a card on it.")] = None,
    config: Annotated[
        Path | None, typer.Option("--config", help="Instead of a picture: whose camera is to take one.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="The station file; as configured, or station.toml.")
    ] = None,
    drawn: Annotated[Path, typer.Option("--picture", help="What came of it, to look at.")] = Path("calibrated.png"),
    gate_width: Annotated[float | None, typer.Option("--gate-width", help="The gate's width in mm.")] = None,
    ruler: Annotated[float, typer.Option("--ruler", help="How long the printed ruler of 100 mm is, in mm.")] = 100.0,
    length: Annotated[
        str | None, typer.Option("--length", help="No card: two points and mm, '100,60 500,60 is 70'.")
    ] = None,
    rectangle: Annotated[
        str | None, typer.Option("--rectangle", help="No card: four corners and sides, '... is 70x50'.")
    ] = None,
    gate: Annotated[str | None, typer.Option("--gate", help="No card: the gate's ends, '320,60 320,420'.")] = None,
    inside: Annotated[str | None, typer.Option("--inside", help="No card: a point inside, '500,240'.")] = None,
    expected: Annotated[
        Path | None, typer.Option("--expect", help="The station file that a design foresees, to compare with.")
    ] = None,
    serve: Annotated[
        bool, typer.Option("--serve", help="Show it live to one browser first, and write from there.")
    ] = False,
    listen: Annotated[str, typer.Option("--listen", help="Where that browser comes.")] = "127.0.0.1:8074",
    minutes: Annotated[float, typer.Option("--minutes", help="How long it may take.", min=0.01, max=600.0)] = 20.0,
) -> None:
    """Find the scale and the gate by a card that lies on the board, and write the station file.

    With --serve you see what the camera sees in a browser, also over ssh, and move card and camera until all is well.

    Example: swapbell-device calibrate card.png --gate-width 24 --out station.toml
    """
    from swapbell_device.calibrating.command import Wish, calibrate_station

    wish = Wish(picture, out, drawn, gate_width, ruler, length, rectangle, gate, inside, expected, config)
    for line in _served(wish, listen, minutes) if serve else calibrate_station(wish):
        typer.echo(line)


def _served(wish: "Wish", listen: str, minutes: float) -> list[str]:
    from swapbell_device.calibrating.preview import address
    from swapbell_device.calibrating.serving import Offer, new_keys, serve_calibration
    from swapbell_device.eye import say

    return serve_calibration(wish, Offer(address(listen), minutes), new_keys(), say)


@app.command("explain")
def explain_moment(
    clip: Annotated[Path, typer.Argument(help="A video of the opening.")],
    station: Annotated[Path, typer.Option("--station", help="The station file that it was counted with.")],
    at: Annotated[float, typer.Option("--at", help="The moment, in seconds from the first frame.")],
    times: Annotated[Path | None, typer.Option("--times", help="Capture time of each frame, as for count.")] = None,
    out: Annotated[Path | None, typer.Option("--out", help="The picture; beside you unless said.")] = None,
) -> None:
    """Draw what each stage saw around a moment: image, difference, mask, blobs, tracks and gate, frame by frame.

    Add the picture to a report of a wrong or a missing crossing.

    Example: swapbell-device explain evening.mp4 --station station.toml --at 12.3 --out missed.png
    """
    from swapbell_device.explain import Question, explain

    typer.echo(explain(Question(clip, station, at, times, out), watch))


@app.command("run")
def run_station(
    config: Annotated[Path, typer.Option("--config", help="The counter's configuration: camera, broker, spool.")],
) -> None:
    """Watch a station and send its tallies to the host.

    SIGTERM or Ctrl-C finishes the tally in progress and ends it; SIGHUP reads the configuration anew.

    Example: swapbell-device run --config station.toml
    """
    from swapbell_device.run import run_until_told

    run_until_told(config, watch)


@app.command("check")
def check_station(
    config: Annotated[Path, typer.Option("--config", help="The counter's configuration.")],
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object per finding.")] = False,
) -> None:
    """Check camera, view, scale, clock, disk, spool, broker, heat and power: pass, look or fail, with what to do.

    Exit code 1 if anything fails. It opens the camera itself: stop a counter that runs first. It waits 30 s for the
    camera, 12 s for the broker's name and 15 s for the broker, no longer.

    Example: swapbell-device check --config device.toml
    """
    from swapbell_device.checking.command import check, lines
    from swapbell_device.config import read_config

    findings = check(read_config(config))
    for line in lines(findings, as_json):
        typer.echo(line)
    if any(found.grade.value == "fail" for found in findings):
        raise typer.Exit(fault.EXIT_BREAKDOWN)


@app.command("install")
def install_service(
    config: Annotated[Path, typer.Option("--config", help="The counter's configuration.")],
    folder: Annotated[Path | None, typer.Option("--folder", help="Where units are; systemd's unless said.")] = None,
) -> None:
    """Write the systemd unit that runs this station from boot on, as the user to whom the configuration belongs.

    Example: sudo swapbell-device install --config station/device.toml
    """
    from swapbell_device.config import read_config
    from swapbell_device.service.unit import FOLDER, install, owner, unit

    read = read_config(config)
    for line in install(unit(config, read, owner(config), folder or FOLDER)):
        typer.echo(line)


@app.command("truth")
def tell_truth(
    config: Annotated[Path, typer.Option("--config", help="The configuration of a drawn station.")],
) -> None:
    """Tell the exact crossings of a drawn station, one JSON object per line, as `count` would if it made no error.

    Example: swapbell-device truth --config station.toml
    """
    from swapbell_device.config import read_config
    from swapbell_device.truth import truth

    for line in truth(read_config(config)):
        typer.echo(line)


@app.command("draw")
def draw_condition(
    condition: Annotated[str, typer.Argument(help="What to draw, such as calm, rain or feints.")],
    out: Annotated[Path, typer.Option("--out", help="An existing folder for the clip and its truth.")],
    seed: Annotated[int, typer.Option("--seed", help="The same seed draws the same scene.")] = 1,
) -> None:
    """Draw a field condition as a clip with its station file and its exact truth.

    The clip is lossless; frames that come unevenly get a times file.

    Example: swapbell-device draw rain --seed 3 --out clips
    """
    from swapbell_device.drawing.film import film_condition

    for path in film_condition(condition, seed, out):
        typer.echo(path)


@app.command("score")
def score_counter(
    folder: Annotated[Path | None, typer.Argument(help="A folder of clips, each with its *.truth.json.")] = None,
    drawn: Annotated[bool, typer.Option("--drawn", help="Score on drawn field conditions instead.")] = False,
    seeds: Annotated[int, typer.Option("--seeds", min=1, help="How many scenes of each drawn condition.")] = 1,
    only: Annotated[list[str] | None, typer.Option("--only", help="Only this condition; may be repeated.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="All figures as JSON.")] = False,
    markdown: Annotated[bool, typer.Option("--markdown", help="Tables for a page, against the goals.")] = False,
) -> None:
    """Score the counter against the truth: precision, recall, F1, counts, sizes, lengths, the worst five minutes.

    Events match one to one within half a second, each direction on its own.

    Example: swapbell-device score --drawn --seeds 3
    """
    from swapbell_device.scoring import scoreboard, scorepage, scoretable

    if as_json and markdown:
        raise fault.Mistake("score: give --json or --markdown, not both")
    board = scoreboard.scores(scoreboard.cases(folder, drawn, seeds, only or ()), watch)
    if markdown:
        typer.echo(scorepage.as_page(board, datetime.now().astimezone().date(), _machine()))
    else:
        typer.echo(scoretable.as_json(board) if as_json else scoretable.as_table(board))


def _machine() -> str:
    return f"{os.cpu_count()} cores of {platform.machine()}"


def run() -> None:
    """Run the command line."""
    fault.speak(app)
