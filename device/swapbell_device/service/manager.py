"""What the counter tells systemd, by the datagrams of sd_notify(3); nothing where it was not started by it."""

import os
import socket
from collections.abc import Callable, Mapping

MICRO = 1e-6
# systemd.service(5) advises half of the watchdog's time; our choice is a third.
SHARE = 1.0 / 3.0


class Manager:
    """The service manager, if there is one.

    Parameters
    ----------
    clock : callable
        Returns seconds that only go forward [s].
    environment : mapping
        `NOTIFY_SOCKET` is where it listens, `WATCHDOG_USEC` within what time it wants to hear of us.
    """

    def __init__(self, clock: Callable[[], float], environment: Mapping[str, str] = os.environ) -> None:
        self._clock, self._address = clock, environment.get("NOTIFY_SOCKET")
        self._every_s = float(environment.get("WATCHDOG_USEC", "inf")) * MICRO * SHARE
        self._told_s = clock()

    def ready(self) -> None:
        """Tell that the counter has begun."""
        self._tell("READY=1")

    def alive(self) -> None:
        """Tell, often enough and no oftener, that frames or their absence are still dealt with."""
        now_s = self._clock()
        if now_s - self._told_s >= self._every_s:
            self._told_s = now_s
            self._tell("WATCHDOG=1")

    def stopping(self) -> None:
        """Tell that the counter ends."""
        self._tell("STOPPING=1")

    def _tell(self, word: str) -> None:
        if self._address is None:
            return
        # A name that begins with @ is in Linux's abstract namespace (unix(7)).
        address = self._address.replace("@", "\0", 1) if self._address.startswith("@") else self._address
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as line:
            line.sendto(word.encode(), address)
