"""Runs a command behind the kernel's filters that systemd would set for a unit, where no systemd runs.

    python3 board_confined.py RULES.json COMMAND...

Runs inside the root that `board.sh` makes, by its libseccomp; what a unit restricts by name spaces and control groups
is not tried here. RULES.json is from `board_rules.py`.
"""

import ctypes
import errno
import json
import mmap
import os
import socket
import sys
from pathlib import Path

# seccomp.h of libseccomp, and seccomp(2).
ALLOW, REFUSE, MASKED_EQUAL, EQUAL = 0x7FFF0000, 0x00050000, 7, 4
LIBRARY = ctypes.CDLL("libseccomp.so.2")
LIBRARY.seccomp_init.restype = ctypes.c_void_p
FAMILIES_MAX = 46


class Compared(ctypes.Structure):
    """One argument of a call, and what it is compared with."""

    _fields_ = [
        ("argument", ctypes.c_uint),
        ("how", ctypes.c_int),
        ("first", ctypes.c_uint64),
        ("second", ctypes.c_uint64),
    ]


class Filter:
    """A filter that does with every call what `otherwise` says, but for its rules."""

    def __init__(self, otherwise: int) -> None:
        self._filter = ctypes.c_void_p(LIBRARY.seccomp_init(ctypes.c_uint32(otherwise)))

    def add(self, action: int, call: str, *compared: Compared) -> None:
        number = LIBRARY.seccomp_syscall_resolve_name(call.encode())
        rule = (Compared * len(compared))(*compared)
        # Some names are another processor's.
        if number >= 0 and LIBRARY.seccomp_rule_add_array(
            self._filter, ctypes.c_uint32(action), number, len(compared), rule
        ):
            raise SystemExit(f"no rule can be made for {call}")

    def load(self) -> None:
        if LIBRARY.seccomp_load(self._filter):
            raise SystemExit("the filter cannot be loaded")


def confine(calls: list[str], families: list[str], *, no_new_code: bool) -> None:
    """Let through the calls, the families of addresses, and unless told otherwise memory that becomes code."""
    if no_new_code:
        memory = Filter(ALLOW)
        both = mmap.PROT_WRITE | mmap.PROT_EXEC
        memory.add(REFUSE | errno.EPERM, "mmap", Compared(2, MASKED_EQUAL, both, both))
        memory.add(REFUSE | errno.EPERM, "mprotect", Compared(2, MASKED_EQUAL, mmap.PROT_EXEC, mmap.PROT_EXEC))
        memory.load()
    addresses, known = Filter(ALLOW), {int(getattr(socket, family)) for family in families}
    for family in set(range(1, FAMILIES_MAX)) - known:
        addresses.add(REFUSE | errno.EAFNOSUPPORT, "socket", Compared(0, EQUAL, family, 0))
    addresses.load()
    listed = Filter(REFUSE | errno.EPERM)
    for call in calls:
        listed.add(ALLOW, call)
    listed.load()


if __name__ == "__main__":
    confine(**json.loads(Path(sys.argv[1]).read_text(encoding="utf-8")))
    os.execvp(sys.argv[2], sys.argv[2:])
