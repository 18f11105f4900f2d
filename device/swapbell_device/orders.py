"""What signals ask of a counter that runs: to end, or to go on with its configuration read anew."""

import signal
from collections.abc import Callable
from threading import Event

from swapbell_device.config import Config
from swapbell_device.eye import say
from swapbell_models.fault import Mistake


class Orders:
    """Listens for SIGTERM and SIGINT, which end the counter, and for SIGHUP.

    Parameters
    ----------
    anew : callable
        Returns the configuration read anew; raises a `Mistake` if it cannot be used.

    Attributes
    ----------
    stop
        Set when what runs is to stop, for either reason.
    """

    def __init__(self, anew: Callable[[], Config]) -> None:
        self._anew = anew
        self._config: Config | None = None
        self._end, self._reload, self.stop = Event(), Event(), Event()
        for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
            signal.signal(number, self._hear)

    def renew(self) -> None:
        """Ask for what SIGHUP asks for: to go on with the configuration read anew."""
        self._reload.set()

    def obey(self) -> None:
        """Stop for a new configuration if one is asked for and can be used; otherwise say why it cannot."""
        if not self._reload.is_set():
            return
        self._reload.clear()
        try:
            self._config = self._anew()
        except Mistake as mistake:
            say(f"{mistake}; the configuration before is kept")
        else:
            self.stop.set()

    def goes_on(self) -> bool:
        """Whether another start follows the one that is to stop."""
        return self._config is not None and not self._end.is_set()

    def next(self) -> Config | None:
        """Return what to run now that the last has stopped; nothing if it ended."""
        config, self._config, self.stop = self._config, None, Event()
        return None if self._end.is_set() else config

    def _hear(self, number: int, _frame: object) -> None:
        if number == signal.SIGHUP:
            self.renew()
            return
        self._end.set()
        self.stop.set()
