"""Every command of every console script in the distribution, and a way to run one as a person would."""

import inspect
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from importlib.metadata import distribution
from pathlib import Path
from typing import Any, get_args, get_origin

import typer
from typer.models import ArgumentInfo, OptionInfo

# Our choice: generous on a loaded machine; whoever has not spoken by then hangs.
PATIENCE_S = 30.0


@dataclass(frozen=True, slots=True)
class Parameter:
    """What a command takes: `flag` is None where it stands without one."""

    flag: str | None
    is_path: bool
    required: bool

    def with_value(self, value: str) -> list[str]:
        """Return it as typed."""
        return [value] if self.flag is None else [self.flag, value]


@dataclass(frozen=True, slots=True)
class Command:
    """One command as typed, e.g. ``("swapbell-host", "run")``; a group of commands has no parameters of its own."""

    words: tuple[str, ...]
    parameters: tuple[Parameter, ...] = ()

    def __str__(self) -> str:
        return " ".join(self.words)


def _parameter(described: inspect.Parameter) -> Parameter:
    kind, *info = get_args(described.annotation)
    told = next(each for each in info if isinstance(each, OptionInfo | ArgumentInfo))
    # Inside Annotated the first name of an option stands where its default would.
    names = [str(name) for name in (told.default, *(told.param_decls or ()), f"--{described.name}")]
    flags = [name for name in names if name.startswith("--")]
    return Parameter(
        flag=flags[0].replace("_", "-") if isinstance(told, OptionInfo) else None,
        is_path=kind is Path or Path in get_args(kind),
        required=described.default is inspect.Parameter.empty,
    )


def _parameters(callback: Callable[..., Any]) -> tuple[Parameter, ...]:
    described = inspect.signature(callback, eval_str=True).parameters.values()
    return tuple(_parameter(each) for each in described if get_origin(each.annotation))


def _below(words: tuple[str, ...], app: typer.Typer) -> Iterator[Command]:
    yield Command(words)
    for each in app.registered_commands:
        assert each.callback is not None
        name = each.name or each.callback.__name__.replace("_", "-")
        yield Command((*words, name), _parameters(each.callback))
    for group in app.registered_groups:
        assert group.typer_instance is not None
        yield from _below((*words, str(group.name)), group.typer_instance)


@cache
def commands() -> list[Command]:
    """Return every command and every group of commands."""
    scripts = [entry for entry in distribution("swapbell").entry_points if entry.group == "console_scripts"]
    return [each for entry in scripts for each in _below((entry.name,), import_module(entry.module).app)]


def program(command: Command) -> list[str]:
    """Return the command as this venv starts it."""
    return [str(Path(sys.executable).parent / command.words[0]), *command.words[1:]]


def run(command: Command, *arguments: str, folder: Path | None = None) -> "subprocess.CompletedProcess[str]":
    """Run a command in a process of its own, with no input, in a folder of its own."""
    return subprocess.run(
        [*program(command), *arguments],
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        cwd=folder,
        env={**os.environ, "NO_COLOR": "1", "COLUMNS": "100"},
        stdin=subprocess.DEVNULL,
        check=False,
    )
