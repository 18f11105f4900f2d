"""How a command ends: one line on stderr and the right exit code."""

import signal
import subprocess
import sys
from pathlib import Path

import pytest

from swapbell_models.fault import EXIT_INTERRUPTED, Breakdown, Mistake, speak

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


@pytest.mark.parametrize(("fault", "code"), [(Mistake("a thing"), 2), (Breakdown("a thing"), 1)])
def test_a_fault_ends_the_process_that_it_happens_in(
    fault: Exception, code: int, capsys: pytest.CaptureFixture[str]
) -> None:
    def command() -> None:
        raise fault

    with pytest.raises(SystemExit) as ended:
        speak(command)
    assert (ended.value.code, capsys.readouterr().err) == (code, "a thing\n")


@pytest.mark.parametrize("error", [OSError(28, "full", "a file"), OSError(9, "closed")])
def test_what_stdout_does_not_say_is_not_taken_for_its_word(error: OSError) -> None:
    def command() -> None:
        raise error

    with pytest.raises(OSError, match=str(error.strerror)):
        speak(command)


def test_a_shell_tells_ctrl_c_by_128_and_its_number() -> None:
    # POSIX, Shell Command Language: more than 128 for a command that a signal ended; shells add its number.
    assert EXIT_INTERRUPTED == 128 + signal.SIGINT


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
