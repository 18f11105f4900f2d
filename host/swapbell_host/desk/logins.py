"""The command `login`: who may see the page, and who may work with it."""

import sys
from collections.abc import Generator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from swapbell_host.desk.planning import HOST_TOML, ConfigOption, JsonOption, group, show
from swapbell_models.fault import Mistake

if TYPE_CHECKING:
    from swapbell_host.books.accountbook import Accountbook

LOGIN = group("Who may sign in to the page.\n\nExample: swapbell-host login set Kim --right work")
GROUPS = {"login": LOGIN}
NameArgument = Annotated[str, typer.Argument(help="The person's name.", show_default=False)]


@LOGIN.command("set")
def set_login(
    name: NameArgument,
    right: Annotated[str, typer.Option("--right", help="view: see everything. work: log and plan too.")],
    password_file: Annotated[
        Path | None,
        typer.Option("--password-file", help="A file that holds nothing but the password, instead of being asked."),
    ] = None,
    config: ConfigOption = HOST_TOML,
) -> None:
    """Let somebody sign in, or change the password or the right; whoever was signed in so is signed out.

    The password is asked for twice, or read from standard input where that is no terminal.

    Example: swapbell-host login set Kim --right work
    """
    from datetime import UTC, datetime

    from swapbell_host.jobs.account import Account
    from swapbell_host.jobs.account import right as right_of
    from swapbell_host.passwords import hashed

    with _accounts(config, making=True) as accounts:
        account = Account(name, right_of(right))
        accounts.put(account, hashed(_password(password_file)), datetime.now(UTC))
    typer.echo(f"{name} can sign in to {account.right.value}")


@LOGIN.command("remove")
def remove_login(name: NameArgument, config: ConfigOption = HOST_TOML) -> None:
    """Let somebody sign in no more, and sign them out.

    Example: swapbell-host login remove Kim
    """
    with _accounts(config) as accounts:
        accounts.drop(name)
        last = not accounts.any()
    typer.echo(f"{name} can sign in no more")
    if last:
        typer.echo("nobody can sign in now: the page is open on this machine, and closed to any other", err=True)


@LOGIN.command("list")
def list_logins(json: JsonOption = False, config: ConfigOption = HOST_TOML) -> None:
    """List who may sign in, and to do what.

    Example: swapbell-host login list
    """
    from swapbell_host.desk.listing import ListedLogin

    with _accounts(config) as accounts:
        kept = accounts.all().values()
    show([ListedLogin(each.account.name, each.account.right.value, each.changed_at) for each in kept], json)


@contextmanager
def _accounts(config: Path, *, making: bool = False) -> Generator["Accountbook"]:
    from swapbell_host.books.accountbook import Accountbook
    from swapbell_host.books.store import ledger_url, open_existing, open_or_make
    from swapbell_host.config import read_config
    from swapbell_host.desk.opening import refusing

    url = ledger_url(read_config(config).ledger)
    with refusing(), open_or_make(url) if making else open_existing(url, writing=True) as store:
        yield Accountbook(store)


def _password(file: Path | None) -> str:
    """Ask for a password, or read it; never take it from the command line, which other users of a machine can see."""
    if file is None and sys.stdin.isatty():
        asked: str = typer.prompt("Password", hide_input=True, confirmation_prompt="Once more", err=True)
        return asked
    try:
        return (sys.stdin.read() if file is None else file.read_text(encoding="utf-8")).rstrip("\r\n")
    except (OSError, UnicodeDecodeError) as error:
        raise Mistake(f"password file {file}: {getattr(error, 'strerror', None) or 'not a text file'}") from error
