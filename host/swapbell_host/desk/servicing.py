"""The commands `log` and `history`: the service log of a station, added to and read."""

from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from swapbell_host.desk.planning import HOST_TOML, ConfigOption, DetailOption, JsonOption, StationArgument


def log_command(
    station: StationArgument,
    what: Annotated[str, typer.Argument(help="lured, refreshed, swapped, withdrawn, ...", show_default=False)],
    by: Annotated[str, typer.Option("--by", help="Who did it.", show_default=False)],
    at: Annotated[
        str | None, typer.Option("--at", help="When, by the site's clock: 2026-03-14 17:30; now.", show_default=False)
    ] = None,
    mass: Annotated[float | None, typer.Option("--mass", help="Of the bait, weighed [g].")] = None,
    weather: Annotated[str | None, typer.Option("--weather", help="In your own words.")] = None,
    non_targets: Annotated[str | None, typer.Option("--non-targets", help="Bees and others seen, or none.")] = None,
    incident: Annotated[str | None, typer.Option("--incident", help="What went wrong, or none.")] = None,
    note: Annotated[str | None, typer.Option("--note", help="Anything else.")] = None,
    photo: Annotated[Path | None, typer.Option("--photo", help="A picture, copied beside the ledger.")] = None,
    place: Annotated[str | None, typer.Option("--place", help="Where a moved station hangs now.")] = None,
    detail: DetailOption = None,
    corrects: Annotated[
        int | None, typer.Option("--corrects", help="The number of the entry whose place this one takes.")
    ] = None,
    config: ConfigOption = HOST_TOML,
) -> None:
    """Log what was done at a station. What is not legal now is refused, and the answer says what is.

    Nothing logged is ever changed: a wrong entry is corrected by a new one, which keeps what is not given anew; what
    never happened is struck out.

    Example: swapbell-host log orchard/north swapped --by Kim --mass 85 --weather "dry, calm" --non-targets none

    Example: swapbell-host log orchard/north "struck out" --corrects 3 --by Kim
    """
    from dataclasses import replace

    from swapbell_host.books import photos
    from swapbell_host.desk.history import answer
    from swapbell_host.desk.opening import given, key, opened, pairs
    from swapbell_host.jobs import entry, filling

    said = given(
        at=at, mass=mass, weather=weather, non_targets=non_targets, incident=incident, note=note, place=place
    )
    with opened(config, writing=True) as desk:
        site, name = desk.plan.station(*key(station)).key
        known = {each.id: each for each in desk.book.entries(site, name, desk.now)}
        before = entry.blank(site, name, entry.act(what), by, desk.now, corrects, known)
        draft = filling.entry(before, said, pairs(detail or ()), desk.plan.site(site).clock)
        if photo:
            draft = replace(draft, photo=photos.keep_file(Path(desk.config.photos), photo))
        logged = desk.book.add(draft, desk.now)
        typer.echo(answer(desk, logged))


def history_command(station: StationArgument, json: JsonOption = False, config: ConfigOption = HOST_TOML) -> None:
    """Show all that was ever logged of a station, with what was corrected, and where its job stands.

    Example: swapbell-host history orchard/north
    """
    import msgspec

    from swapbell_host.desk import history
    from swapbell_host.desk.opening import key, opened

    with opened(config) as desk:
        found = history.read(desk, *key(station))
    if json:
        typer.echo(msgspec.json.encode(found))
    else:
        for line in found.lines():
            typer.echo(line)


COMMANDS: dict[str, Callable[..., None]] = {"log": log_command, "history": history_command}
