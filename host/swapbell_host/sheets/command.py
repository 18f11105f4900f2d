"""The commands `sheet`, `record` and `report`: each writes one file, in the form that its ending asks for."""

from collections.abc import Callable, Generator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from swapbell_host.desk.planning import HOST_TOML, ConfigOption, SiteArgument

if TYPE_CHECKING:
    from swapbell_host.books.servicebook import Servicebook
    from swapbell_host.books.store import Store
    from swapbell_host.intake import Station as Key

OutOption = Annotated[
    Path,
    typer.Option("--out", help="The file: its ending, pdf, csv or json, says as what.", show_default=False),
]
PaperOption = Annotated[str, typer.Option("--paper", help="A4 or Letter.")]
StationsArgument = Annotated[
    list[str], typer.Argument(metavar="SITE/STATION...", help="Which ones.", show_default=False)
]


def _stated(name: str, told: str) -> typer.models.OptionInfo:
    option: typer.models.OptionInfo = typer.Option(name, help=told, metavar="TEXT", show_default=False)
    return option


def sheet_command(
    stations: StationsArgument,
    out: OutOption,
    portion: Annotated[str | None, _stated("--portion", "Bait for each before liquid is added: 85 g.")] = None,
    target: Annotated[str | None, _stated("--target", "How strong the bait is to be: 0.1 g/L, 100 mg/kg.")] = None,
    product: Annotated[str | None, _stated("--product", "Full name on the label in hand.")] = None,
    strength: Annotated[str | None, _stated("--strength", "Strength on the label in hand: 100 g/L.")] = None,
    authority: Annotated[str | None, _stated("--authority", "Which permit, label or registration allows it.")] = None,
    until: Annotated[str | None, _stated("--until", "Its last day: 2026-09-30.")] = None,
    covers: Annotated[str | None, _stated("--covers", "The product strength that it covers: 100 g/L.")] = None,
    directs: Annotated[str | None, _stated("--directs", "The bait strength that it directs: 0.1 g/L.")] = None,
    at_most: Annotated[str | None, _stated("--at-most", "The strongest bait that it allows: 0.1 g/L.")] = None,
    measure: Annotated[
        str | None, _stated("--measure", "1 mL syringe, 200-1000 uL pipette, or a syringe as 5 mL by 0.2 mL.")
    ] = None,
    on: Annotated[str | None, _stated("--on", "The day of mixing, at the place; today.")] = None,
    paper: PaperOption = "A4",
    config: ConfigOption = HOST_TOML,
) -> None:
    """Write the mixing sheet for the toxic bait of some stations, mixed once. A person doses.

    What is not given is taken from the details of the site, where a person stated it (portion, target, product,
    product_strength, authority, authority_until, covers, directs, at_most, measure). There is no sheet without an
    authority that is stated and in date. The label, local law and licensed practice come first.

    Example: swapbell-host sheet orchard/north orchard/east --portion "85 g" --out mixing.pdf
    """
    from swapbell_host.desk.opening import key
    from swapbell_host.sheets.form import form_of, put
    from swapbell_host.sheets.form import paper as paper_of
    from swapbell_host.sheets.issue import mixing_sheet

    given = {
        "portion": portion,
        "target": target,
        "product": product,
        "product_strength": strength,
        "authority": authority,
        "authority_until": until,
        "covers": covers,
        "directs": directs,
        "at_most": at_most,
        "measure": measure,
        "on": on,
    }
    with _books(config) as (_, service, now):
        told = {name: text for name, text in given.items() if text is not None}
        keys = [key(each) for each in stations]
        made = mixing_sheet(service, keys, told, now, form_of(out), paper_of(paper))
    put(made.content, out)


def record_command(
    stations: Annotated[
        list[str],
        typer.Argument(
            metavar="SITE[/STATION]...", help="A whole site, or some of its stations.", show_default=False
        ),
    ],
    out: OutOption,
    paper: PaperOption = "A4",
    config: ConfigOption = HOST_TOML,
) -> None:
    """Write the record of all toxic bait that was put out at a site or some of its stations, and what it lacks.

    Example: swapbell-host record orchard --out record.pdf
    """
    from swapbell_host.sheets.form import form_of, put
    from swapbell_host.sheets.form import paper as paper_of
    from swapbell_host.sheets.issue import application_record

    with _books(config) as (store, service, now):
        keys = [key for each in stations for key in _keys(service, each, now)]
        made = application_record(store, service, keys, now, form_of(out), paper_of(paper))
    put(made.content, out)


def report_command(
    site: SiteArgument,
    out: OutOption,
    since: Annotated[
        str | None,
        typer.Option("--from", help="When it begins, by the site's clock: 2026-01-01.", show_default=False),
    ] = None,
    until: Annotated[str | None, typer.Option("--to", help="When it ends; now.", show_default=False)] = None,
    paper: PaperOption = "A4",
    config: ConfigOption = HOST_TOML,
) -> None:
    """Write the report of a site's season: counts day by day with their gaps, what was done, what became of it.

    Example: swapbell-host report orchard --from 2026-01-01 --out season.pdf
    """
    from swapbell_host.jobs.moment import moment
    from swapbell_host.sheets.form import form_of, put
    from swapbell_host.sheets.form import paper as paper_of
    from swapbell_host.sheets.issue import season_report, site_of

    with _books(config) as (store, service, now):
        zone = site_of(service, site, now).clock
        span = (moment(since, zone) if since else None, moment(until, zone) if until else None)
        made = season_report(store, service, site, now, span, form_of(out), paper_of(paper))
    put(made.content, out)


@contextmanager
def _books(config: Path) -> Generator[tuple["Store", "Servicebook", datetime]]:
    """Open the ledger of a configuration for reading; what is refused inside is the caller's mistake."""
    from swapbell_host.books.servicebook import Servicebook
    from swapbell_host.books.store import ledger_url, open_existing
    from swapbell_host.config import read_config
    from swapbell_host.desk.opening import refusing

    with refusing(), open_existing(ledger_url(read_config(config).ledger)) as store:
        yield store, Servicebook(store), datetime.now(UTC)


def _keys(service: "Servicebook", text: str, now: datetime) -> list["Key"]:
    """Return the station that a text names, or all of the site that it names."""
    from swapbell_host.desk.opening import key
    from swapbell_host.sheets.issue import site_of

    if "/" in text:
        return [key(text)]
    site = site_of(service, text, now)
    return [each for each in service.stations(now) if each[0] == site.name]


COMMANDS: dict[str, Callable[..., None]] = {
    "sheet": sheet_command,
    "record": record_command,
    "report": report_command,
}
