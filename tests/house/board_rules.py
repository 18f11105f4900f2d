"""Writes what the counter's unit lets through, for `board_confined.py`: systemd's groups of calls, by their names.

Runs where systemd is. Prints one JSON object: the calls that are allowed, the families of addresses, and whether
memory may become code.
"""

import json
import subprocess
import sys
from collections.abc import Iterator

from swapbell_device.service.unit import TEXT


def group(name: str) -> Iterator[str]:
    """Yield the calls of a group, and of the groups in it."""
    told = subprocess.run(["systemd-analyze", "syscall-filter", name], capture_output=True, text=True, check=True)
    for line in told.stdout.splitlines()[1:]:
        word = line.strip()
        if word.startswith("@"):
            yield from group(word)
        elif word and not word.startswith("#"):
            yield word


def allowed(filters: list[str]) -> list[str]:
    """Return what lines of SystemCallFilter= let through (systemd.exec(5): the first one begins the list)."""
    found: set[str] = set()
    for line in filters:
        for word in line.removeprefix("~").split():
            names = set(group(word)) if word.startswith("@") else {word}
            found = found - names if line.startswith("~") else found | names
    return sorted(found)


def rules(unit: str) -> dict[str, object]:
    """Return the rules of a unit's text."""
    lines = [tuple(line.split("=", 1)) for line in unit.splitlines() if "=" in line and not line.startswith("#")]
    of = {name: [value for key, value in lines if key == name] for name, _ in lines}
    return {
        "calls": allowed(of["SystemCallFilter"]),
        "families": of["RestrictAddressFamilies"][0].split(),
        "no_new_code": of["MemoryDenyWriteExecute"] == ["yes"],
    }


if __name__ == "__main__":
    sys.stdout.write(json.dumps(rules(TEXT)) + "\n")
