"""How many bytes may be sent: a purse that fills at a steady rate and holds a few seconds' worth."""

import math

# Our choice: what may be sent at once after a pause; a burst of live tallies goes out together.
BURST_S = 10.0
# IP, TCP and MQTT around each message, and its acknowledgements (RFC 791, RFC 9293, MQTT 3.1.1), about.
AROUND_BYTES = 200
# Our choice: a mobile link of 2 kB/s carries it in 16 s, before the broker seems stuck and a live tally is late.
SPARE_MAX_BYTES = 32_000


class Budget:
    """A limit on what is sent.

    Parameters
    ----------
    bytes_per_s : float, optional
        How much may be sent on average [B/s]; without it there is no limit.
    """

    def __init__(self, bytes_per_s: float | None = None) -> None:
        self._bytes_per_s = math.inf if bytes_per_s is None else bytes_per_s
        self._held = self._most = self._bytes_per_s * BURST_S
        self._at_s = 0.0

    def take(self, payload_bytes: int, now_s: float) -> bool:
        """Tell whether a message of that length [B] may be sent now, and if so, note it.

        `now_s` is on a clock that never goes back [s]. One that is longer than the whole purse may be sent when that
        is full, or it never would be.
        """
        self._fill(now_s)
        cost = payload_bytes + AROUND_BYTES
        if self._held < min(cost, self._most):
            return False
        self._held -= cost
        return True

    def spare(self, now_s: float) -> int:
        """Return how long a message may be that can wait [B]: half the purse once that is full, nothing before."""
        self._fill(now_s)
        if self._held < self._most:
            return 0
        return int(min(SPARE_MAX_BYTES, self._most / 2.0 - AROUND_BYTES))

    def _fill(self, now_s: float) -> None:
        if self._bytes_per_s < math.inf:
            self._held = min(self._most, self._held + (now_s - self._at_s) * self._bytes_per_s)
        self._at_s = now_s
