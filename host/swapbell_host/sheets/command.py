"""The commands `sheet`, `record` and `report`: each writes one file, in the form that its ending asks for."""

from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from swapbell_host.desk.planning import HOST_TOML, ConfigOption

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
    from swapbell_host.desk.opening import key, opened
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
    with opened(config) as desk:
        told = {name: text for name, text in given.items() if text is not None}
        keys = [key(each) for each in stations]
        made = mixing_sheet(desk.book, keys, told, desk.now, form_of(out), paper_of(paper))
    put(made.content, out)


COMMANDS: dict[str, Callable[..., None]] = {"sheet": sheet_command}
