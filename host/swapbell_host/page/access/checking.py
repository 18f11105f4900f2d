"""Passwords are checked in a thread of their own, one after the other: each takes a while on purpose.

Whatever else the page does goes on meanwhile, and a storm of sign-ins takes one core and the memory of one check.
"""

from concurrent.futures import Future, ThreadPoolExecutor

from swapbell_host import passwords
from swapbell_models.fault import Breakdown

# Our choice: at a third of a second each on a small board, the last one is answered within two or three seconds.
STRANGERS_MAX = 6
# Our choice: as many places more that strangers cannot take.
WAITING_MAX = 12


class Checking:
    """The thread, and the checks that are not done yet."""

    def __init__(self) -> None:
        self._thread = ThreadPoolExecutor(1, "passwords")
        self._waiting = set[Future[bool]]()

    @property
    def waiting(self) -> int:
        """How many checks are not done yet."""
        return len(self._waiting)

    def begin(self, kept: str | None, given: str, *, known: bool) -> Future[bool]:
        """Have a password checked, as `passwords.is_right` does.

        Parameters
        ----------
        known : bool
            Whether it comes from a browser that signed in before.

        Raises
        ------
        Breakdown
            If too many wait.
        """
        if self.waiting >= (WAITING_MAX if known else STRANGERS_MAX):
            raise Breakdown("Too many sign in at this moment; wait some seconds")
        check = self._thread.submit(passwords.is_right, kept, given)
        self._waiting.add(check)
        check.add_done_callback(self._waiting.discard)
        return check

    def close(self) -> None:
        """Finish the check at work, and drop those that wait."""
        self._thread.shutdown(cancel_futures=True)
