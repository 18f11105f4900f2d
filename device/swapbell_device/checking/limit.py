"""A limit on how long a check waits for what is outside: a driver, a name server or a broker may never answer."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from threading import Thread

from swapbell_device.checking.finding import Finding, Grade
from swapbell_models.fault import Mistake


@dataclass(frozen=True, slots=True)
class Limits:
    """How long what is waited for [s].

    Attributes
    ----------
    camera_s
        Our choice: opening it and four seconds of pictures take ten on a slow board; V4L2's own patience is ten.
    name_s
        Our choice: a resolver asks twice for five seconds (resolv.conf(5)); who needs longer has no name server.
    broker_s
        Our choice: a broker at the other end of a mobile link answers within.
    """

    camera_s: float = 30.0
    name_s: float = 12.0
    broker_s: float = 15.0


class _Asking(Thread):
    """Asks on a thread that the process does not wait for when it ends."""

    def __init__(self, ask: Callable[[], Iterable[Finding]]) -> None:
        super().__init__(daemon=True)
        self._ask = ask
        self.found: list[Finding] | None = None
        self.mistake: Mistake | None = None

    def run(self) -> None:
        try:
            self.found = list(self._ask())
        except Mistake as mistake:
            self.mistake = mistake


def within(limit_s: float, ask: Callable[[], Iterable[Finding]], about: str, late: str) -> list[Finding]:
    """Return what asking finds, or that there was no answer within a time.

    Parameters
    ----------
    limit_s : float
        How long to wait [s].
    ask : callable
        Returns the findings; it may raise `Mistake`.
    about, late : str
        What is waited for, and what to do if it does not answer.

    Raises
    ------
    Mistake
        If asking does.
    """
    asking = _Asking(ask)
    asking.start()
    asking.join(limit_s)
    if asking.is_alive():
        return [Finding(about, Grade.FAIL, f"no answer within {limit_s:g} s; {late}")]
    if asking.mistake is not None:
        raise asking.mistake
    if asking.found is None:
        return [Finding(about, Grade.FAIL, "could not be looked at; its own message stands above")]
    return asking.found
