"""What the command `check` does."""

import json
from collections.abc import Sequence
from threading import Event

from swapbell_device.checking.board import board_findings
from swapbell_device.checking.finding import Finding, table
from swapbell_device.checking.limit import Limits, within
from swapbell_device.checking.reach import reach_findings
from swapbell_device.checking.view import view_findings
from swapbell_device.config import Config
from swapbell_device.eye import eye

LIMITS = Limits()
HANGS = "look at its cable and who else uses it, and start the board anew"


def check(config: Config, limits: Limits = LIMITS) -> list[Finding]:
    """Return what every check found, each within its time.

    Raises
    ------
    Mistake
        If the station file or a clip cannot be used.
    """
    seen = within(limits.camera_s, lambda: view_findings(config, *eye(config, Event())), "camera", HANGS)
    return [*seen, *board_findings(config), *reach_findings(config, limits)]


def lines(findings: Sequence[Finding], as_json: bool) -> list[str]:
    """Return the findings as lines for a person, or as one JSON object each."""
    if not as_json:
        return table(findings)
    return [
        json.dumps({"about": found.about, "grade": found.grade.value, "words": found.words}) for found in findings
    ]
