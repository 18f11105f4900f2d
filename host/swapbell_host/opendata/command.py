"""The commands `export`: what was counted, as open data."""

from collections.abc import Callable, Generator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from swapbell_host.desk.planning import HOST_TOML, ConfigOption, group

if TYPE_CHECKING:
    from swapbell_host.books.store import Store
    from swapbell_host.opendata.choosing import Chosen
    from swapbell_host.opendata.extracts import Extract

EXPORT = group("What was counted, as open data.\n\nExample: swapbell-host export counts counts.csv --site orchard")
GROUPS = {"export": EXPORT}

FileArgument = Annotated[Path, typer.Argument(metavar="FILE", help="Ends in .csv or .parquet.", show_default=False)]
SiteOption = Annotated[str | None, typer.Option("--site", help="Of this site alone.", show_default=False)]
StationOption = Annotated[str | None, typer.Option("--station", help="Of this station alone.", show_default=False)]
BeginOption = Annotated[
    str | None,
    typer.Option("--from", help="From when on, by the site's clock: 2026-03-14.", show_default=False),
]
EndOption = Annotated[str | None, typer.Option("--to", help="Until when, likewise.", show_default=False)]
StepOption = Annotated[
    int, typer.Option("--step", min=5, help="Length of a stretch, a multiple of 5, counted from midnight UTC [min].")
]


@EXPORT.command("counts")
def export_counts(
    file: FileArgument,
    site: SiteOption = None,
    station: StationOption = None,
    begin: BeginOption = None,
    end: EndOption = None,
    step: StepOption = 5,
    config: ConfigOption = HOST_TOML,
) -> None:
    """Write visits by stretch of time with the seconds that were really watched. What is not listed has no data.

    Example: swapbell-host export counts counts.csv --site orchard --from 2026-03-01 --step 60
    """
    from swapbell_host.opendata import extracts

    def extract(store: "Store", chosen: "list[Chosen]") -> "Extract":
        return extracts.counts(store, chosen, timedelta(minutes=step))

    _export(file, (site, station, begin, end), config, extract)


def _add(table: str, words: str) -> None:
    """Add the command of a table that holds what was told as it was told."""

    @EXPORT.command(table, help=words)
    def export_table(
        file: FileArgument,
        site: SiteOption = None,
        station: StationOption = None,
        begin: BeginOption = None,
        end: EndOption = None,
        config: ConfigOption = HOST_TOML,
    ) -> None:
        from swapbell_host.opendata import extracts

        extract = {"crossings": extracts.crossings, "tallies": extracts.tallies}[table]
        _export(file, (site, station, begin, end), config, extract)


_add(
    "crossings",
    "Write every body that passed a gate line: when, which way, how long, how sure.\n\n"
    "Example: swapbell-host export crossings crossings.parquet --station north",
)
_add(
    "tallies",
    "Write every tally as it came: what was counted, how long was watched, how well the counter saw.\n\n"
    "Example: swapbell-host export tallies tallies.parquet --site orchard",
)


@EXPORT.command("camtrap")
def export_camtrap(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A folder that is made.", show_default=False)],
    site: SiteOption = None,
    station: StationOption = None,
    begin: BeginOption = None,
    end: EndOption = None,
    by: Annotated[str | None, typer.Option("--by", help="Whom to ask about it.", show_default=False)] = None,
    title: Annotated[str | None, typer.Option("--title", help="The project's.", show_default=False)] = None,
    licence: Annotated[
        str | None, typer.Option("--licence", help="By its SPDX name: CC-BY-4.0.", show_default=False)
    ] = None,
    config: ConfigOption = HOST_TOML,
) -> None:
    """Write a Camtrap DP 1.0.2 folder: deployments, observations, and the effort and direction behind them.

    Stations of whom nobody has said where they hang are left out, and named.

    Example: swapbell-host export camtrap orchard-2026 --site orchard --by Kim --licence CC-BY-4.0
    """
    from datetime import UTC, datetime

    from swapbell_host.opendata import package, reading
    from swapbell_host.opendata.choosing import Choice, choose
    from swapbell_host.opendata.labelling import Labels

    with _opened(config) as store:
        chosen = choose(store, Choice(site, station, begin, end))
        labels = Labels(title=title, by=by, licence=licence)
        with _progress(folder, reading.pieces(store, chosen)) as tick:
            written = package.write(store, chosen, folder, labels, datetime.now(UTC), tick)
    _say(written.remarks)
    typer.echo(f"{folder}: {written.words}")


def _export(
    file: Path,
    wanted: tuple[str | None, str | None, str | None, str | None],
    config: Path,
    extract: "Callable[[Store, list[Chosen]], Extract]",
) -> None:
    from datetime import UTC, datetime

    from swapbell_host.opendata.choosing import Choice, choose
    from swapbell_host.opendata.export import write

    with _opened(config) as store:
        found = extract(store, choose(store, Choice(*wanted)))
        with _progress(file, found.pieces) as tick:
            written = write(found, file, datetime.now(UTC), tick)
    _say(found.remarks)
    typer.echo(f"{file}: {written} rows")


def _opened(config: Path) -> "Store":
    from swapbell_host.books.store import ledger_url, open_existing
    from swapbell_host.config import read_config

    return open_existing(ledger_url(read_config(config).ledger))


def _say(remarks: tuple[str, ...]) -> None:
    for remark in remarks:
        typer.echo(remark, err=True)


@contextmanager
def _progress(path: Path, pieces: int) -> Generator[Callable[[], None]]:
    """Show on a terminal how far it is, and give what is to be called after each piece, where it may be stopped."""
    from rich.console import Console
    from rich.progress import Progress

    from swapbell_host.opendata.stopping import Stopped, heeding

    console = Console(stderr=True)
    try:
        with (
            heeding() as heed,
            Progress(console=console, transient=True, disable=not console.is_terminal) as progress,
        ):
            task = progress.add_task(path.name, total=pieces)

            def tick() -> None:
                progress.advance(task)
                heed()

            yield tick
    except Stopped as stopped:
        typer.echo(f"{path}: stopped, and nothing of it written; ask again for the whole", err=True)
        raise typer.Exit(stopped.exit_code) from None
