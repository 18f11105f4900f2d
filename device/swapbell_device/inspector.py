"""The station's daily look at its own board."""

from swapbell_device.checking.board import board_findings
from swapbell_device.checking.finding import amiss
from swapbell_device.config import Config
from swapbell_device.health import Pulse

# Once a day: what fills, heats up or fails on a board takes days.
INSPECT_S = 86_400.0


class Inspector:
    """Looks at the board when the counter starts and once a day, and puts what is amiss into the health."""

    def __init__(self, config: Config, pulse: Pulse) -> None:
        self._config, self._pulse, self._next_s = config, pulse, 0.0

    def look(self, at_s: float) -> None:
        """Look, if it is time to at `at_s` [s]."""
        if at_s >= self._next_s:
            self._next_s = at_s + INSPECT_S
            self._pulse.note_checks(amiss(board_findings(self._config)))
