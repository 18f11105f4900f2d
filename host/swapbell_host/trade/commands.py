"""The commands `dose`, `season` and `optics`: what is typed goes in, an answer or one line of refusal comes out."""

import shutil
import sys
from collections.abc import Callable, Generator
from contextlib import contextmanager
from datetime import date, datetime
from typing import TYPE_CHECKING, Annotated

import typer

from swapbell_models import fault

if TYPE_CHECKING:
    from swapbell_host.trade.answer import Answer

JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON object: figures, units, sources, cautions.")]


def _option(name: str, told: str, *, default: bool = True) -> typer.models.OptionInfo:
    """Return an option whose text the command reads itself, so that each refusal is one line."""
    option: typer.models.OptionInfo = typer.Option(name, help=told, metavar="TEXT", show_default=default)
    return option


def dose_command(
    bait: Annotated[str, _option("--bait", "Portions before liquid is added: 500 g, or 10 x 85 g + 200 g.")],
    target: Annotated[str, _option("--target", "How strong the bait is to be: 100 mg/kg, 0.01 %, 0.1 g/L, 1:1000.")],
    product: Annotated[str, _option("--product", "Full name on the label in hand.")],
    strength: Annotated[str, _option("--strength", "Strength on the label in hand: 100 g/L, 10 % w/v.")],
    authority: Annotated[str, _option("--authority", "The permit, label or registration that allows it.")],
    until: Annotated[str, _option("--until", "Its last day: 2026-09-30.")],
    covers: Annotated[str, _option("--covers", "The product strength that it covers: 100 g/L.")],
    directs: Annotated[str, _option("--directs", "The bait strength that it directs: 0.1 g/L.")],
    at_most: Annotated[str, _option("--at-most", "The strongest bait that it allows: 0.1 g/L.")],
    measure: Annotated[
        str, _option("--measure", "1 mL syringe, 200-1000 uL pipette, or a syringe as 5 mL by 0.2 mL.")
    ] = "1 mL syringe",
    back: Annotated[str | None, _option("--back", "Bait weighed back, for the balance: 60 g.", default=False)] = None,
    on: Annotated[
        str | None, _option("--on", "The day of mixing, at the place; today by this machine's clock.", default=False)
    ] = None,
    json: JsonOption = False,
) -> None:
    """Show how much product goes into a bait, how to measure it, and what to be careful of. A person doses.

    There is no dose without an authority that you state, and none past its last day or its strength. The label, local
    law and licensed practice come first.

    Example: swapbell-host dose --bait "10 x 85 g" --target "0.1 g/L" --product "NAME" --strength "100 g/L"
    --authority "permit 12" --until 2026-09-30 --covers "100 g/L" --directs "0.1 g/L" --at-most "0.1 g/L"
    """
    from swapbell_host.trade import mixing

    with _refusing():
        asked = mixing.Asked(
            *(bait, target, product, strength, authority, _day("--until", until), covers, directs, at_most),
            *(measure, back, _today() if on is None else _day("--on", on), _today()),
        )
        told = mixing.answer(asked)
    _say(told, json)


def season_command(
    hemisphere: Annotated[
        str, _option("--hemisphere", "north or south; said apart, as a lost minus moves half a year.")
    ],
    latitude: Annotated[str, _option("--latitude", "Degrees, south negative: -43.5.")],
    longitude: Annotated[
        str | None, _option("--longitude", "Degrees, west negative: 172.6; for the hours of the sun.", default=False)
    ] = None,
    on: Annotated[str | None, _option("--on", "The day at the place; today.", default=False)] = None,
    at: Annotated[str | None, _option("--at", "A moment to judge: 2026-01-15T09:00+13:00.", default=False)] = None,
    zone: Annotated[
        str | None, _option("--zone", "Zone of the times shown: Pacific/Auckland; UTC.", default=False)
    ] = None,
    json: JsonOption = False,
) -> None:
    """Show when wasps take protein bait at a place, and in which hours of a day their absence means something.

    Example: swapbell-host season --hemisphere south --latitude -43.5 --longitude 172.6 --on 2026-01-15
    """
    from swapbell_host.trade import almanac

    with _refusing():
        day = _today() if on is None else _day("--on", on)
        moment = None if at is None else _moment("--at", at)
        told = almanac.answer(almanac.Where(hemisphere, latitude, longitude, day, moment, zone))
    _say(told, json)


def optics_command(
    camera: Annotated[
        str, _option("--camera", "imx219, imx708, imx708_wide, imx296, ..., or 1280x800 at 120 fps of 3 um.")
    ],
    lane_width: Annotated[str, _option("--lane-width", "Across the way of the insects: 40 mm.")],
    speed: Annotated[str, _option("--speed", "The fastest to be counted: 0.1 m/s; flight is about 2.5 m/s.")],
    body_width: Annotated[
        str,
        _option("--body-width", "Of the slimmest to be counted; no published width was found, so measure one: 4 mm."),
    ],
    body_length: Annotated[
        str, _option("--body-length", "Of the shortest to be counted; 10 mm is the shortest European wasp.")
    ] = "10 mm",
    lane_height: Annotated[
        str, _option("--lane-height", "How deep it has to be sharp; 12 mm is the trade's smallest opening.")
    ] = "12 mm",
    lane_length: Annotated[
        str | None, _option("--lane-length", "How much of the way can be seen at all: 60 mm.", default=False)
    ] = None,
    exposure: Annotated[
        str | None, _option("--exposure", "The shortest that the light allows: 4 ms.", default=False)
    ] = None,
    tilt: Annotated[str, _option("--tilt", "How far the camera leans along the lane, 0 to 45 degrees.")] = "0",
    focal: Annotated[str | None, _option("--focal", "Another lens, its focal length: 6 mm.", default=False)] = None,
    f_number: Annotated[str | None, _option("--f-number", "That lens's f-number: 1.2.", default=False)] = None,
    nearest: Annotated[str | None, _option("--nearest", "That lens's nearest focus: 200 mm.", default=False)] = None,
    json: JsonOption = False,
) -> None:
    """Show how a camera has to hang over a lane: distance, frame rate, exposure; or which limit forbids it.

    Example: swapbell-host optics --camera imx219 --lane-width "40 mm" --speed "0.1 m/s" --body-width "4 mm"
    """
    from swapbell_host.trade import hanging

    with _refusing():
        wanted = hanging.Wanted(
            *(camera, focal, f_number, nearest, lane_width, lane_length, lane_height),
            *(speed, body_length, body_width, exposure, tilt),
        )
        told = hanging.answer(wanted)
    _say(told, json)


COMMANDS: dict[str, Callable[..., None]] = {
    "dose": dose_command,
    "season": season_command,
    "optics": optics_command,
}


# What the models call what a person types after an option.
TYPED_AS = {
    "authority basis": "--authority",
    "authority maximum": "--at-most",
    "product name": "--product",
    "product strength": "--strength",
    "target strength": "--target",
    "latitude_deg": "--latitude",
    "year of on": "year of --on",
    "camera must": "--camera must",
    "mode width_px": "--camera: its width",
    "mode height_px": "--camera: its height",
    "mode fps": "--camera: its frame rate",
    "pixel_um": "--camera: its pixel",
    "body_width_mm": "--body-width",
    "distances_mm must": "--camera must",
}


@contextmanager
def _refusing() -> Generator[None]:
    """Turn what cannot be used into the caller's mistake, by the name of its option."""
    try:
        yield
    except ValueError as error:
        told = str(error)
        named = next((each for each in TYPED_AS if told.startswith(each)), "")
        raise fault.Mistake(TYPED_AS.get(named, "") + told.removeprefix(named)) from error


def _say(answer: "Answer", json: bool) -> None:
    from swapbell_host.trade.answer import as_json, as_text

    width = shutil.get_terminal_size().columns if sys.stdout.isatty() else None
    typer.echo(as_json(answer) if json else as_text(answer, width))


def _today() -> date:
    return datetime.now().astimezone().date()


def _day(name: str, text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{name} must be a day as in 2026-01-15, not {text!r}") from None


def _moment(name: str, text: str) -> datetime:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{name} must be a moment as in 2026-01-15T09:00+13:00, not {text!r}") from None
