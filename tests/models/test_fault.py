"""How a command ends: one line on stderr and the right exit code."""

import subprocess
import sys
from pathlib import Path

import pytest

PREFACE = "from swapbell_models.fault import Breakdown, Mistake, speak\n"


def ended(body: str, stdout: str | None = None) -> "subprocess.CompletedProcess[str]":
    script = f"{PREFACE}def command():\n    {body}\nspeak(command)\n"
    with Path(stdout or "/dev/null").open("w") as out:
        return subprocess.run(
            [sys.executable, "-c", script], stdout=out, stderr=subprocess.PIPE, text=True, timeout=60, check=False
        )


@pytest.mark.parametrize(("kind", "code"), [("Mistake", 2), ("Breakdown", 1)])
def test_a_fault_is_its_line_and_its_code(kind: str, code: int) -> None:
    done = ended(f"raise {kind}('the thing, and the way out')")
    assert (done.returncode, done.stderr) == (code, "the thing, and the way out\n")


def test_a_command_that_works_says_nothing() -> None:
    done = ended("print('a result')")
    assert (done.returncode, done.stderr) == (0, "")


def test_a_defect_keeps_its_traceback() -> None:
    assert "Traceback" in ended("raise RuntimeError('ours')").stderr


def test_a_result_that_finds_no_room_is_a_breakdown_in_one_line() -> None:
    done = ended("print('a result')", stdout="/dev/full")
    assert done.returncode == 1
    assert done.stderr == "stdout cannot be written: No space left on device; the result is not complete\n"


def test_an_error_of_a_named_file_is_not_taken_for_stdouts() -> None:
    assert "Traceback" in ended("raise OSError(28, 'full', 'a file')").stderr
