"""The command `forecast`: when a station's rule will be reached."""

import shutil
import sys
from pathlib import Path
from typing import Annotated

import typer

from swapbell_host.desk.planning import HOST_TOML, ConfigOption, StationArgument

JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON object: figures, units, sources, cautions.")]


def forecast_command(
    station: StationArgument,
    hours: Annotated[
        str | None,
        typer.Option(
            "--hours", help="Foraging day by the site's clock, as 06:00-20:30; the sun's.", show_default=False
        ),
    ] = None,
    png: Annotated[Path | None, typer.Option("--png", help="Draw it, too.", show_default=False)] = None,
    json: JsonOption = False,
    config: ConfigOption = HOST_TOML,
) -> None:
    """Show when the rule will be reached at a station whose lure hangs, by its days so far; or why nobody can say.

    Example: swapbell-host forecast orchard/north --png north.png
    """
    from swapbell_host.forecasting.reading import made_of
    from swapbell_host.forecasting.words import answer
    from swapbell_host.trade.answer import as_json, as_text

    made, lure = made_of(config, station, hours)
    if png is not None:
        from swapbell_host.forecasting.picture import draw

        draw(made, lure, png)
    width = shutil.get_terminal_size().columns if sys.stdout.isatty() else None
    told = answer(made, lure)
    typer.echo(as_json(told) if json else as_text(told, width))
