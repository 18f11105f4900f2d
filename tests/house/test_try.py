import os
import re
import shutil
import signal
import subprocess
import time
from pathlib import Path

import pytest

import parts

# A project with the house's set-up and none of its weight; its rehearsal is one word.
PYPROJECT = """\
[build-system]
requires = ["hatchling"]
build-backend = "hatchling.build"
[project]
name = "swapbell"
version = "0"
[project.scripts]
swapbell-host = "small:run"
[tool.hatch.build.targets.wheel]
packages = ["small"]
"""
BUILDERS = ("editables", "hatchling", "packaging", "pathspec", "pluggy", "trove-classifiers", "tomlkit")
INSTALLING = "Installing swapbell"
PATIENCE_S = 120.0


def pins_of(names: tuple[str, ...]) -> str:
    lock = (parts.CHECKOUT / ".ci" / "lock" / "try.txt").read_text(encoding="utf-8")
    return "\n".join(pin for pin in re.split(r"\n(?=\w)", lock) if pin.partition("==")[0] in names)


def small_checkout(folder: Path) -> Path:
    (folder / ".ci" / "lock").mkdir(parents=True)
    (folder / "small").mkdir()
    shutil.copy(parts.CHECKOUT / "try", folder)
    (folder / ".ci" / "lock" / "try.txt").write_text(pins_of(BUILDERS), encoding="utf-8")
    (folder / "pyproject.toml").write_text(PYPROJECT, encoding="utf-8")
    (folder / "small" / "__init__.py").write_text("def run():\n    print('rehearsed')\n", encoding="utf-8")
    return folder


def attempt(checkout: Path, *words: str, **settings: str) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [checkout / "try", *words],
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        env={**os.environ, **settings},
        stdin=subprocess.DEVNULL,
        check=False,
    )


def lame_python(folder: Path, word: str) -> str:
    """Return a Python that fails whatever mentions the word."""
    program = folder / "lame-python"
    program.write_text(f'#!/bin/sh\ncase "$*" in *{word}*) exit 1 ;; esac\nexec python3 "$@"\n', encoding="utf-8")
    program.chmod(0o755)
    return str(program)


@pytest.fixture(scope="module")
def ready(tmp_path_factory: pytest.TempPathFactory) -> Path:
    parts.need("registry")
    checkout = small_checkout(tmp_path_factory.mktemp("ready") / "check out")
    first = attempt(checkout)
    assert (first.returncode, first.stdout) == (0, "rehearsed\n"), first.stderr
    assert INSTALLING in first.stderr
    return checkout


def test_the_second_time_nothing_is_installed_and_no_network_is_needed(ready: Path) -> None:
    again = attempt(ready, PIP_NO_INDEX="1")
    assert (again.returncode, again.stdout, again.stderr) == (0, "rehearsed\n", "")


def test_the_venv_of_a_moved_folder_is_not_used(ready: Path, tmp_path: Path) -> None:
    moved = shutil.copytree(ready, tmp_path / "moved", symlinks=True)
    # Seen by the attempt to make another one, which this Python cannot.
    assert "cannot make a venv" in attempt(moved, PYTHON=lame_python(tmp_path, "ensurepip")).stderr


def test_an_install_that_was_killed_is_made_anew(tmp_path: Path) -> None:
    parts.need("registry")
    checkout = small_checkout(tmp_path / "killed")
    child = subprocess.Popen([checkout / "try"], stderr=subprocess.PIPE, start_new_session=True, text=True)
    assert child.stderr is not None
    assert INSTALLING in child.stderr.readline()
    time.sleep(0.5)
    os.killpg(child.pid, signal.SIGKILL)
    child.wait()
    assert (checkout / ".venv" / "unfinished").exists()
    assert attempt(checkout).stdout == "rehearsed\n"
    assert not (checkout / ".venv" / "unfinished").exists()


@pytest.mark.parametrize("words", [["tests"], ["test", "all"], ["--help"]])
def test_other_words_are_answered_with_the_usage(tmp_path: Path, words: list[str]) -> None:
    told = attempt(small_checkout(tmp_path / "words"), *words)
    assert (told.returncode, told.stderr) == (2, "usage: ./try | ./try test\n")


@pytest.mark.parametrize(
    ("word", "way_out"),
    [
        ("version_info", "Python 3.11 or newer"),
        ("maxsize", "Install the 64-bit image"),
        ("ensurepip", "sudo apt-get install python3-venv"),
    ],
)
def test_a_python_that_will_not_do_is_one_line_with_the_way_out(tmp_path: Path, word: str, way_out: str) -> None:
    checkout = small_checkout(tmp_path / "lame")
    told = attempt(checkout, PYTHON=lame_python(tmp_path, word))
    assert told.returncode == 2
    assert re.fullmatch(rf"[^\n]*{re.escape(way_out)}[^\n]*\n", told.stderr)
    assert not (checkout / ".venv").exists()


def test_no_python_at_all_is_one_line_with_the_way_out(tmp_path: Path) -> None:
    told = attempt(small_checkout(tmp_path / "none"), PYTHON=str(tmp_path / "no-python"))
    assert (told.returncode, told.stderr.count("\n")) == (2, 1)
    assert "sudo apt-get install python3 python3-venv" in told.stderr


# Last in this file, because it spoils the checkout that the others use.
def test_a_failed_install_says_so_and_leaves_no_venv_that_passes_for_whole(ready: Path, tmp_path: Path) -> None:
    with (ready / ".ci" / "lock" / "try.txt").open("a", encoding="utf-8") as lock:
        lock.write(f"\nno-such-thing==1 --hash=sha256:{'0' * 64}\n")
    failed = attempt(ready, PIP_NO_INDEX="1", PIP_FIND_LINKS=str(tmp_path))
    assert failed.returncode == 1
    assert failed.stderr.endswith("Is the network up? Then run ./try again.\n")
    assert (ready / ".venv" / "unfinished").exists()
