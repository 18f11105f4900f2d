"""Who else people saw at the lure: bees and other harmless animals, as the service log tells."""

from collections.abc import Sequence
from datetime import datetime

from swapbell_host.jobs.entry import Act, Entry, standing
from swapbell_models.notice import lapse

# With these a time of lure begins: what was seen before was seen at another bait.
_BEGINS = frozenset({Act.LURED, Act.RELURED})
# Our choice: what the log form asks for where somebody looked and saw none, and what else people write for it.
_NONE = frozenset({"none", "none seen", "no", "nothing", "nil", "0", "-", "only wasps", "wasps only", "no others"})
# Our choice: it warns of nobody, and takes no warning of others away.
_NO_BEES = frozenset({"no bees", "no bees seen", "no honey bees"})
# Our choice: the first words name the animal; the rest stands in the log.
WORDS_MAX = 120


def sighting(entries: Sequence[Entry]) -> Entry | None:
    """Return the latest entry that names other visitors since the lure was hung out.

    Parameters
    ----------
    entries : sequence of Entry
        All that was ever logged of one station.

    Returns
    -------
    Entry or None
        Nothing where nobody said anything, or where whoever looked last saw none.
    """
    if not any(each.non_targets for each in entries):
        return None
    stand = standing(entries)
    begin = max((n for n, each in enumerate(stand) if each.act in _BEGINS), default=0)
    said = [each for each in stand[begin:] if _plain(each) not in _NO_BEES | {""}]
    return said[-1] if said and _plain(said[-1]) not in _NONE else None


def _plain(entry: Entry) -> str:
    return (entry.non_targets or "").strip().rstrip(".").lower()


def seen_words(entry: Entry, logged: str) -> str:
    """Say who was seen, as it was logged, and why nothing is swapped then.

    Parameters
    ----------
    entry : Entry
        One that names other visitors.
    logged : str
        When, in words that follow "logged".
    """
    # One sentence: lists show no more of a call.
    told = " ".join((entry.non_targets or "").split()).rstrip(".").replace(". ", "; ")
    short = told if len(told) <= WORDS_MAX else f"{told[:WORDS_MAX]}..."
    whose = f"{short} (logged {logged} by {entry.by})"
    return f"{whose}: what visits the lure takes toxic bait, too; see its label"


def seen_ago(entry: Entry, now: datetime) -> str:
    """Say who was seen, and how long ago as of `now` (aware UTC)."""
    return seen_words(entry, f"{lapse(now - entry.at)} ago")
