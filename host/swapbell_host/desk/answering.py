"""The commands `ack` and `shelve`, by which a person answers a notice, and `alert`, which tries one out."""

from collections.abc import Callable
from typing import Annotated

import typer

from swapbell_host.desk.planning import HOST_TOML, ConfigOption, group
from swapbell_models.fault import Breakdown, Mistake

ALERT = group("Whether alerts arrive.\n\nExample: swapbell-host alert test --contact Kim")
GROUPS = {"alert": ALERT}
ByOption = Annotated[str | None, typer.Option("--by", help="Who says so.", show_default=False)]


def acknowledge_command(
    notice_id: Annotated[int | None, typer.Argument(help="The notice's number.", show_default=False)] = None,
    every: Annotated[bool, typer.Option("--all", help="Every open notice.")] = False,
    by: ByOption = None,
    config: ConfigOption = HOST_TOML,
) -> None:
    """Say that a notice was seen to, so that it is not told again.

    Example: swapbell-host ack 3 --by Kim
    """
    from swapbell_host.alerting.answer import acknowledge, acknowledge_all
    from swapbell_host.desk.opening import opened

    if (notice_id is None) != every:
        raise Mistake("ack needs one notice's number, or --all; `swapbell-host status` lists them")
    with opened(config, writing=True) as desk:
        if notice_id is not None:
            closed = acknowledge(desk.notices, notice_id, desk.now, by)
        else:
            closed = acknowledge_all(desk.notices, desk.now, by)
    for notice in closed:
        typer.echo(f"acknowledged: {notice.text}")


def shelve_command(
    notice_id: Annotated[int, typer.Argument(help="The notice's number.", show_default=False)],
    span: Annotated[str, typer.Option("--for", help="For how long: 30 min, 2 h, 3 d.", show_default=False)],
    by: ByOption = None,
    config: ConfigOption = HOST_TOML,
) -> None:
    """Put a notice off: nobody is told of it for a while, then it comes again.

    Example: swapbell-host shelve 3 --for "2 h" --by Kim
    """
    from swapbell_host.alerting.answer import SHELF_MAX, shelve
    from swapbell_host.desk.opening import opened
    from swapbell_host.jobs.moment import span as stretch

    with opened(config, writing=True) as desk:
        put_off = shelve(desk.notices, notice_id, stretch("--for", span, SHELF_MAX), desk.now, by)
    typer.echo(f"shelved for {span}: {put_off.notice.text}")


@ALERT.command("test")
def try_command(
    contact: Annotated[
        str | None, typer.Option("--contact", help="Only this contact or channel.", show_default=False)
    ] = None,
    config: ConfigOption = HOST_TOML,
) -> None:
    """Send everyone a test message, and say which address took it.

    Example: swapbell-host alert test --contact Kim
    """
    from swapbell_host.alerting.trial import send_test
    from swapbell_host.desk.opening import opened

    with opened(config, making=True) as desk:
        trials = send_test(desk.people(), desk.now, contact)
    for trial in trials:
        typer.echo(trial.words)
    missed = [trial.shown for trial in trials if not trial.taken]
    if missed:
        raise Breakdown(f"not taken by {', '.join(missed)}; check the address, and whether its server is up")


COMMANDS: dict[str, Callable[..., None]] = {"ack": acknowledge_command, "shelve": shelve_command}
