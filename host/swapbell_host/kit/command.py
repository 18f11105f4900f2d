"""The command `broker-kit`: a broker of one's own, from the plan."""

from pathlib import Path
from typing import Annotated

import typer

from swapbell_host.desk.planning import HOST_TOML, ConfigOption


def broker_kit_command(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A folder that is made.", show_default=False)],
    host: Annotated[
        list[str],
        typer.Option(
            "--host",
            help="The broker's name or address, first as stations reach it; may be repeated.",
            show_default=False,
        ),
    ],
    clip: Annotated[
        str | None, typer.Option("--clip", help="A clip that each counter counts, in place of a camera.")
    ] = None,
    config: ConfigOption = HOST_TOML,
) -> None:
    """Make all that a mosquitto of one's own needs: an authority, passwords, an access list, each station's folder.

    Every secret is new: stations that were enrolled before need their new folder.

    Example: swapbell-host broker-kit kit --host 192.0.2.10 --host broker.example
    """
    from dataclasses import replace

    from swapbell_host.desk.enrolling import fill
    from swapbell_host.desk.opening import opened
    from swapbell_host.kit.making import made

    with opened(config, writing=True) as desk:
        plans, found = desk.plan.stations(), desk.config.discovery
        kit = made(host, list(plans), found.prefix if found else None, clip, desk.now)
        fill(folder, kit.files)
        for station in plans.values():
            desk.plan.change_station(replace(station, enrolled_at=desk.now))
    typer.echo(_words(folder, host[0], len(plans), home=found is not None))
    typer.echo(f"its certificates hold until {kit.until_at:%Y-%m-%d}")


def _words(folder: Path, host: str, stations: int, *, home: bool) -> str:
    from swapbell_host.kit import settings

    lines = [
        f"made {folder}; every file in it is a secret or leads to one, so carry it by hand:",
        f"{folder}/broker: to the broker's machine (apt install mosquitto), and there: sudo sh install.sh",
        f"{folder}/host: beside host.toml, which then says:",
        "",
        "[broker]",
        f'host = "{host}"',
        f"port = {settings.PORT}",
        f'username = "{settings.HOST}"',
        'password_file = "host/broker.password"',
        'ca_file = "host/broker-ca.pem"',
        "",
        f"{folder}/{settings.AUDITOR}: beside host.toml of whoever asks stations for evidence, which then says:",
        "",
        "[auditor]",
        f'username = "{settings.AUDITOR}"',
        f'password_file = "{settings.AUDITOR}/broker.password"',
        "",
        f"{folder}/stations: {stations} folders, each to its station alone, as after `station enrol`",
    ]
    if home:
        lines.append(
            f"{folder}/{settings.VIEWER}: the password with which home automation signs in as {settings.VIEWER}"
        )
    lines.append(f"{folder}/authority: to a safe place; no machine in the field needs it")
    return "\n".join(lines)


COMMANDS = {"broker-kit": broker_kit_command}
