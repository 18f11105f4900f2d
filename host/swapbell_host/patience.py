"""How the host waits for a ledger that it cannot use for now: told once, longer each time."""

from collections.abc import Callable

# Our choice: a lock is often let go within a second; a server that is away is not pestered.
RETRY_MIN_S = 0.5
RETRY_MAX_S = 30.0


class Patience:
    """What is borne until `renew`.

    Parameters
    ----------
    warn : callable
        Is given one line when the waiting begins.
    """

    def __init__(self, warn: Callable[[str], None]) -> None:
        self._warn = warn
        self._wait_s = 0.0

    def bear(self, trouble: Exception) -> float:
        """Return how long to wait before the next try [s]."""
        if not self._wait_s:
            self._warn(f"{trouble}; trying again, and nothing is acknowledged meanwhile")
        self._wait_s = min(max(2.0 * self._wait_s, RETRY_MIN_S), RETRY_MAX_S)
        return self._wait_s

    def renew(self) -> None:
        """Note that it works again."""
        self._wait_s = 0.0
