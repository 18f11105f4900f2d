"""The command `contact`: who is told, and how."""

from typing import Annotated

import typer

from swapbell_host.desk.planning import HOST_TOML, ConfigOption, JsonOption, group, show

CONTACT = group("People to be told.\n\nExample: swapbell-host contact set Kim mailto://192.0.2.25?to=kim@example.org")
GROUPS = {"contact": CONTACT}


@CONTACT.command("set")
def set_contact(
    name: Annotated[str, typer.Argument(help="The person's name.", show_default=False)],
    address: Annotated[
        str,
        typer.Argument(help="A URL in Apprise's form, or the name of a channel in host.toml.", show_default=False),
    ],
    second: Annotated[
        str | None, typer.Option("--second", help="Who is told where this one does not answer.")
    ] = None,
    quiet: Annotated[
        str | None, typer.Option("--quiet", help="When to tell nothing, by the site's clock: 21:00-06:00.")
    ] = None,
    config: ConfigOption = HOST_TOML,
) -> None:
    """Say how a person is told, and when not; toxic bait that is left out is told at any hour.

    Example: swapbell-host contact set Kim "mailto://192.0.2.25?to=kim@example.org" --second Robin --quiet 21:00-06:00
    """
    from swapbell_host.alerting.channel import check_contact
    from swapbell_host.desk.opening import opened
    from swapbell_host.jobs.plan import Contact
    from swapbell_host.jobs.quiet import quiet as hours

    with opened(config, making=True) as desk:
        contact = Contact(name, address, second, hours(quiet) if quiet else None)
        check_contact(name, address, desk.config.alerts.channels)
        desk.plan.put_contact(contact)
    typer.echo(f"contact {name} set")


@CONTACT.command("remove")
def remove_contact(
    name: Annotated[str, typer.Argument(help="The person's name.", show_default=False)],
    config: ConfigOption = HOST_TOML,
) -> None:
    """Forget how a person is told, where nobody relies on it any more.

    Example: swapbell-host contact remove Kim
    """
    from swapbell_host.desk.opening import opened

    with opened(config, writing=True) as desk:
        desk.plan.drop_contact(name)
    typer.echo(f"contact {name} removed")


@CONTACT.command("list")
def list_contacts(json: JsonOption = False, config: ConfigOption = HOST_TOML) -> None:
    """List the contacts; of an address, which may hold a password, only its kind is shown.

    Example: swapbell-host contact list
    """
    from swapbell_host.desk import listing
    from swapbell_host.desk.opening import opened

    with opened(config) as desk:
        show(listing.contacts(desk), json)
