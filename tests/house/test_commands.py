import os
import pty
import re
import subprocess
from functools import cache
from pathlib import Path

import pytest
from house.command_tree import PATIENCE_S, Command, commands, program, run

import parts

ESCAPE = "\x1b"


def every_command() -> pytest.MarkDecorator:
    return pytest.mark.parametrize("command", commands(), ids=str)


def every_command_with_a_path() -> pytest.MarkDecorator:
    return pytest.mark.parametrize(
        "command", [each for each in commands() if any(one.is_path for one in each.parameters)], ids=str
    )


@cache
def help_of(command: Command) -> "subprocess.CompletedProcess[str]":
    return run(command, "--help")


def on_a_terminal(*words: str) -> str:
    """Return what a command writes to a terminal that could show colours, with NO_COLOR set."""
    ours, theirs = pty.openpty()
    settings = {**os.environ, "NO_COLOR": "1", "TERM": "xterm-256color"}
    subprocess.run(words, stdin=theirs, stdout=theirs, stderr=theirs, timeout=PATIENCE_S, env=settings, check=False)
    os.close(theirs)
    seen = b""
    try:
        while piece := os.read(ours, 65536):
            seen += piece
    except OSError:  # the end, as Linux tells it on a terminal
        os.close(ours)
    return seen.decode("utf-8")


@every_command()
def test_help_shows_an_example(command: Command) -> None:
    assert re.search(rf"Examples?:\s[\s\S]*{command}", help_of(command).stdout)


@every_command()
def test_help_goes_to_stdout_alone(command: Command) -> None:
    assert (help_of(command).returncode, help_of(command).stderr) == (0, "")


@every_command()
def test_an_unknown_option_is_the_callers_mistake_and_goes_to_stderr(command: Command) -> None:
    done = run(command, "--no-such-option")
    assert (done.returncode, done.stdout) == (2, "")
    assert "--no-such-option" in done.stderr


@every_command()
def test_no_color_means_no_escape_codes(command: Command) -> None:
    assert ESCAPE not in on_a_terminal(*program(command), "--help")
    assert ESCAPE not in on_a_terminal(*program(command), "--no-such-option")


@every_command_with_a_path()
def test_a_path_that_leads_nowhere_is_answered_with_one_line(command: Command, tmp_path: Path) -> None:
    nowhere = str(tmp_path / "nowhere" / "file")
    given = [
        word
        for each in command.parameters
        if each.is_path or each.required or each.flag is None
        for word in each.with_value(nowhere if each.is_path else "1")
    ]
    done = run(command, *given, folder=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert re.fullmatch(r"[^\n]*nowhere[^\n]*\n", done.stderr), done.stderr


@pytest.mark.parametrize("code", [0, 1, 2])
def test_the_front_page_says_what_exit_codes_mean(code: int) -> None:
    assert re.search(rf"^\| {code} \| \w+", (parts.CHECKOUT / "README.md").read_text(encoding="utf-8"), re.MULTILINE)


def test_every_command_that_our_pages_show_exists() -> None:
    pages = [
        page.read_text(encoding="utf-8") for page in [*parts.CHECKOUT.glob("*.md"), *parts.CHECKOUT.glob("*/*.md")]
    ]
    shown = {hit for page in pages for hit in re.findall(r"\b(swapbell-[a-z]+) ([a-z][a-z-]*[a-z])\b", page)}
    assert shown - {each.words[:2] for each in commands() if len(each.words) > 1} == set()
