"""What is told of a station seldom and takes the ledger's longer memory to know. Pure, as `rules` is."""

from collections.abc import Callable, Mapping

from swapbell_host.judging import holes, proof, visitors, waiting
from swapbell_host.judging.evidence import Evidence
from swapbell_host.judging.history import PastNotice
from swapbell_host.rules import is_news
from swapbell_models.notice import Notice, NoticeKind

# What is looked for at each slow look; each finds one thing at most.
FINDINGS: tuple[Callable[[Evidence], Notice | None], ...] = (
    visitors.warning,
    waiting.overdue,
    waiting.ahead,
    holes.hole,
    proof.collapse,
    proof.reinvasion,
)
# What ends a notice beside what `rules.ENDINGS` names: in words, and whether it has come.
ENDINGS: Mapping[NoticeKind, tuple[str, Callable[[PastNotice, Evidence], bool]]] = {
    NoticeKind.FORECAST: ("the day that was meant has passed", waiting.has_passed),
    NoticeKind.VISITORS: ("no such visitors came for a day", visitors.are_gone),
    NoticeKind.HOLE: ("what was missing has come, or is a day old", holes.is_filled),
}


def news(evidence: Evidence) -> list[Notice]:
    """Return what a person should newly hear, given what was told before."""
    found = [each for find in FINDINGS if (each := find(evidence))]
    return [each for each in found if is_news(each.kind, evidence.told, evidence.now)]


def ended(evidence: Evidence) -> list[tuple[PastNotice, str]]:
    """Return the open notices whose cause is over, and why."""
    still_open = [(past, *ENDINGS[past.kind]) for past in evidence.told if past.is_open and past.kind in ENDINGS]
    return [(past, words) for past, words, has_come in still_open if has_come(past, evidence)]
