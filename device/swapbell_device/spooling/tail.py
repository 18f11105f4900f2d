"""The spool's tail: its newest tallies, in a file that the system holds in memory.

A file there outlives the counter, however that ends, and costs the card nothing; it does not outlive the power. See
decision 21.
"""

from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from swapbell_models.message import MalformedMessage, decode, encode
from swapbell_models.tally import Tally


class Tail:
    """A file of tallies, a line each.

    Parameters
    ----------
    path : Path, optional
        The file, on a file system in memory; without it there is no tail.
    say : callable
        Told one line if it can no longer be written.
    """

    def __init__(self, path: Path | None, say: Callable[[str], None]) -> None:
        self._path, self._say = path, say

    @property
    def kept(self) -> bool:
        """Whether there is such a file."""
        return self._path is not None

    def tallies(self) -> Iterator[Tally]:
        """Yield what the counter before this one left; of what it was writing when it was killed, nothing."""
        for line in self._left().splitlines():
            try:
                yield decode(line, Tally)
            except MalformedMessage as error:
                self._say(f"tail {self._path}: a line that is no tally is passed over ({error})")

    def add(self, tally: Tally) -> bool:
        """Keep one more tally; tell whether it is safe here from the end of this process."""
        if self._path is None:
            return False
        try:
            with self._path.open("ab") as file:
                file.write(encode(tally) + b"\n")
        except OSError as error:
            self._end(error)
            return False
        return True

    def keep(self, tallies: Iterable[Tally]) -> None:
        """Keep these and no others."""
        if self._path is None:
            return
        part = self._path.with_name(f"{self._path.name}.part")
        try:
            part.write_bytes(b"".join(encode(tally) + b"\n" for tally in tallies))
            part.replace(self._path)
        except OSError as error:
            self._end(error)

    def _left(self) -> bytes:
        try:
            return self._path.read_bytes() if self._path is not None and self._path.exists() else b""
        except OSError as error:
            self._end(error)
            return b""

    def _end(self, error: OSError) -> None:
        self._say(f"tail {self._path} cannot be used ({error.strerror}); each tally goes to the disk at once")
        self._path = None
