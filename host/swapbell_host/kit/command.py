"""The command `broker-kit`: a broker of one's own, from the plan."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from swapbell_host.desk.planning import HOST_TOML, ConfigOption

if TYPE_CHECKING:
    from swapbell_host.kit.making import Kit


def broker_kit_command(
    folder: Annotated[
        Path,
        typer.Argument(metavar="DIR", help="A folder that is made, or a kit's that is renewed.", show_default=False),
    ],
    host: Annotated[
        list[str] | None,
        typer.Option(
            "--host",
            help="The broker's name or address, first as stations reach it; may be repeated. As before, if not said.",
            show_default=False,
        ),
    ] = None,
    clip: Annotated[
        str | None, typer.Option("--clip", help="A clip that each new counter counts, in place of a camera.")
    ] = None,
    anew: Annotated[
        list[str] | None,
        typer.Option("--anew", metavar="SITE/STATION", help="A station that gets a new password; may be repeated."),
    ] = None,
    config: ConfigOption = HOST_TOML,
) -> None:
    """Make all that a mosquitto of one's own needs: an authority, passwords, an access list, each station's folder.

    A kit that is there is renewed: its authority and every password stay, new stations get theirs.

    Example: swapbell-host broker-kit kit --host 192.0.2.10 --host broker.example
    """
    from dataclasses import replace

    from swapbell_host.desk.enrolling import fill
    from swapbell_host.desk.opening import key, opened
    from swapbell_host.kit.keeping import kept, renew
    from swapbell_host.kit.making import Wanted, made

    with opened(config, writing=True) as desk:
        plans, found, before = desk.plan.stations(), desk.config.discovery, kept(folder)
        again = [key(name) for name in anew or ()]
        for each in again:
            desk.plan.station(*each)
        wanted = Wanted(host or (), list(plans), found.prefix if found else None, clip, again)
        kit = made(wanted, before, desk.now)
        (renew if before else fill)(folder, kit.files)
        for each in kit.stations:
            desk.plan.change_station(replace(plans[each], enrolled_at=desk.now))
    typer.echo(_renewed(folder, kit) if before else _words(folder, kit.hosts[0], len(plans), home=found is not None))
    ends = f"{kit.until_at:%Y-%m-%d}, the authority until {kit.authority_until_at:%Y-%m-%d}"
    typer.echo(f"the broker's certificate holds until {ends}; before then, renew the kit by the same command")


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


def _renewed(folder: Path, kit: "Kit") -> str:
    lines = [
        f"renewed {folder}: its authority and every other password stay, so nobody needs anything new but as follows",
        f"{folder}/broker: to the broker's machine, and there: sudo sh install.sh",
    ]
    if kit.moved:
        lines.append(f"stations reach the broker as {kit.hosts[0]} now: at each, say so as host in its device.toml")
    lines += [f"{folder}/{name}: new; to where it belongs, alone" for name in kit.newcomers]
    return "\n".join([*lines, f"{folder}/authority: back to its safe place"])


COMMANDS = {"broker-kit": broker_kit_command}
