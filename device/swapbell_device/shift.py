"""One start of the counter: what each moment means for its tallies, its health, its evidence and its clock."""

from collections.abc import Iterator
from dataclasses import dataclass

from swapbell_device.book import Book
from swapbell_device.cameras.live import Absence
from swapbell_device.evidence.keeper import Keeper
from swapbell_device.health import Pulse
from swapbell_device.inspector import Inspector
from swapbell_device.moment import Moment
from swapbell_device.spooling.spool import Spool
from swapbell_device.timekeeper import Timekeeper
from swapbell_models.tally import Tally


@dataclass(slots=True)
class Shift:
    """Everything that follows the moments of one start.

    Attributes
    ----------
    at_s
        When the last of them was [s].
    """

    book: Book
    pulse: Pulse
    spool: Spool
    keeper: Keeper
    timekeeper: Timekeeper
    inspector: Inspector
    at_s: float = 0.0

    def enter(self, moment: Moment | Absence) -> None:
        """Enter a moment, and put the tallies that it closed into the spool."""
        self.at_s = moment.at_s
        tallies = [*self._booked(moment)]
        for tally in tallies:
            self.spool.put(tally)
        self.keeper.see(moment, tallies)
        self.timekeeper.look(moment.at_s, self.book, self.pulse)
        self.inspector.look(moment.at_s)

    def close(self) -> None:
        """Put the tallies that are still open into the spool."""
        for tally in self.book.close():
            self.spool.put(tally)

    def _booked(self, moment: Moment | Absence) -> Iterator[Tally]:
        if isinstance(moment, Absence):
            self.pulse.miss(moment.at_s, moment.reason, asleep=moment.asleep)
            return self.book.miss(moment.at_s, asleep=moment.asleep)
        self.pulse.beat(moment.at_s, moment.look)
        lives, covered = moment.frame.lives, moment.covered
        return self.book.add(moment.crossings, moment.at_s, moment.look, covered=covered, lives=lives)
