"""The two ways in which a command can fail, and what the shell sees of each.

A `Mistake` is the caller's: a missing clip, a misspelt key. A `Breakdown` is ours or the machine's: a full disk,
a ledger that cannot be written. Both are one line that names the thing and the way out; anything else that
escapes is a defect of swapbell and keeps its traceback.
"""

import errno
import os
import sys
from collections.abc import Callable

EXIT_BREAKDOWN = 1
EXIT_MISTAKE = 2
# What a full disk, a reader that left and a failing disk say of a file that has no name: stdout.
STDOUT_ERRORS = frozenset({errno.ENOSPC, errno.EPIPE, errno.EIO})
# What a POSIX shell reports of a command that Ctrl-C ended: 128 and the signal's number.
EXIT_INTERRUPTED = 130


class Mistake(Exception):
    """What the caller gave cannot be used; the message says which thing, why, and the way out."""


class Breakdown(Exception):
    """The machine or swapbell could not do its part; the message says which thing and the way out."""


def speak(command: Callable[[], object]) -> None:
    """Run a command line and end the process, with one line on stderr instead of a traceback.

    Parameters
    ----------
    command : callable
        The whole command; it may raise `Mistake` or `Breakdown`.
    """
    try:
        _with_all_said(command)
    except Mistake as mistake:
        _end(mistake, EXIT_MISTAKE)
    except Breakdown as breakdown:
        _end(breakdown, EXIT_BREAKDOWN)


def _with_all_said(command: Callable[[], object]) -> None:
    """Run a command and make sure that what it printed has left, wherever stdout leads."""
    try:
        try:
            command()
        finally:
            sys.stdout.flush()
    except OSError as error:
        if error.filename is not None or error.errno not in STDOUT_ERRORS:
            raise
        # Python would try to flush once more at its end, and complain in its own words.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise Breakdown(f"stdout cannot be written: {error.strerror}; the result is not complete") from error


def _end(fault: Exception, code: int) -> None:
    sys.stderr.write(f"{fault}\n")
    raise SystemExit(code)
