"""What a rehearsal came to: the sums, the files that stay, and what to do next."""

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from swapbell_host.books import tallybook
from swapbell_host.books.store import ledger_url, open_existing
from swapbell_host.rehearsal.audience import Heard
from swapbell_host.rehearsal.picture import Record, draw, since
from swapbell_models.fault import Breakdown
from swapbell_models.tally import Tally


@dataclass(frozen=True, slots=True)
class Outcome:
    """The sums of one rehearsal.

    Attributes
    ----------
    true_visits
        The drawn station's exact visits; nothing for footage, whose truth is not known here.
    counted_visits, watched_s, seconds
        By the ledger: visits counted, seconds really watched, and seconds that passed [s].
    notices_min
        When each kind of notice was first raised, in minutes of watching [min].
    ledger, picture
        The files that stay.
    """

    true_visits: int | None
    counted_visits: int
    watched_s: float
    seconds: float
    notices_min: dict[str, float]
    ledger: Path
    picture: Path

    def words(self) -> str:
        """Return the summary that a person reads."""
        true = (
            "not known for footage" if self.true_visits is None else f"{self.true_visits} (drawn, so they are known)"
        )
        rows = [
            ("true visits", true),
            ("counted visits", f"{self.counted_visits}, in {self.watched_s:.0f} s watched of {self.seconds:.0f} s"),
            ("rule touched", self._when("touched")),
            ("confirmed ready", self._when("ready")),
            ("ledger", str(self.ledger)),
            ("picture", str(self.picture)),
        ]
        return "\n".join(f"{name:<16} {value}" for name, value in rows) + "\n\n" + self._next()

    def _when(self, kind: str) -> str:
        minutes = self.notices_min.get(kind)
        if minutes is None:
            return "no"
        return f"after {int(minutes)} min {round(minutes % 1 * 60):02d} s of watching"

    def _next(self) -> str:
        if "ready" not in self.notices_min:
            return "Next: nothing to swap yet. A real station would go on luring."
        return (
            "Next: at a real station a person would now swap the lure for toxic bait, as label and local law say,\n"
            "by whoever may handle it, with gloves, away from bees, pets, children and water."
        )


def outcome(heard: Heard, title: str, true_visits_s: list[float] | None, rule_visits: int, folder: Path) -> Outcome:
    """Sum a rehearsal up from its ledger and draw its picture.

    Parameters
    ----------
    heard : Heard
        What the broker carried; the notices are taken from it.
    title : str
        The words above the picture.
    true_visits_s : list of float or None
        The exact visits [s] from the first frame; None where they are not known.
    rule_visits : int
        Visits in five minutes that the rule asks for.
    folder : Path
        Where the ledger is and the picture goes.

    Raises
    ------
    Breakdown
        If nothing is in the ledger.
    """
    tallies = _in_ledger(folder / "ledger.sqlite")
    if not tallies:
        raise Breakdown(f"no tally reached the ledger; the logs in {folder} say what happened")
    began_at, ended_at = tallies[0].from_at, max(tally.to_at for tally in tallies)
    notices_min = [(since(began_at, n.raised_at), n.kind) for n in heard.notices.values()]
    record = Record(
        title=title,
        length_min=since(began_at, ended_at),
        counted_min=[since(began_at, at) for tally in tallies for at in tally.visits_at()],
        true_min=[at_s / 60.0 for at_s in true_visits_s or []],
        gaps_min=[
            (since(began_at, t.from_at), since(began_at, t.to_at)) for t in tallies if t.watched_s < t.seconds / 2
        ],
        notices=notices_min,
    )
    draw(record, rule_visits, folder / "rehearsal.png")
    return Outcome(
        true_visits=None if true_visits_s is None else len(true_visits_s),
        counted_visits=len(record.counted_min),
        watched_s=sum(tally.watched_s for tally in tallies),
        seconds=(ended_at - began_at).total_seconds(),
        notices_min={kind: at_min for at_min, kind in reversed(notices_min)},
        ledger=folder / "ledger.sqlite",
        picture=folder / "rehearsal.png",
    )


def _in_ledger(path: Path) -> list[Tally]:
    with open_existing(ledger_url(str(path))) as store, store.transaction() as connection:
        stored = [tally for _, tally in tallybook.recent(connection, datetime.fromtimestamp(0.0, UTC))]
    return sorted(stored, key=lambda tally: tally.from_at)
