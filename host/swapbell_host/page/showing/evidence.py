"""On what a verdict stands, in sentences: the rate with its limits, what luck could do, and what confirmed it."""

from dataclasses import dataclass

from swapbell_host.board import Seen
from swapbell_models.confirmation import EARLY_SHARE, WINDOWS
from swapbell_models.notice import CONFIRMED_BY
from swapbell_models.readiness import Rule, Verdict
from swapbell_models.traffic import Window

# Our choice: below one in a hundred the digits mean nothing to a person.
RARE = 0.01


@dataclass(frozen=True, slots=True)
class Evidence:
    """What a verdict stands on.

    Attributes
    ----------
    windows
        The consecutive windows of the look, oldest first.
    sentences
        The rate with its limits, what luck could do, and what confirmed it.
    """

    windows: tuple[Window, ...]
    sentences: tuple[str, ...]


def evidence(seen: Seen) -> Evidence:
    """Return the evidence of a look."""
    verdict, rule = seen.verdict, seen.rule
    said = (_rate(verdict, rule), _luck(verdict, rule), *_proof(verdict, rule))
    return Evidence(verdict.windows, tuple(sentence for sentence in said if sentence))


def _rate(verdict: Verdict, rule: Rule) -> str:
    if verdict.rate is None:
        return "Nobody watched, so no rate can be given."
    rate = verdict.rate
    return (
        f"{rate.per_window:.1f} visits per {_window(rule)} of watched time; with 95 % confidence the true mean lies "
        f"between {rate.low:.1f} and {rate.high:.1f}."
    )


def _luck(verdict: Verdict, rule: Rule) -> str:
    if verdict.lucky is None or verdict.fullest is None:
        return ""
    return (
        f"The fullest {_window(rule)} had {verdict.fullest.counted}. If really only {EARLY_SHARE * rule.visits:g} "
        f"came on average, luck would show as many in {_chance(verdict.lucky)} of such looks."
    )


def _proof(verdict: Verdict, rule: Rule) -> list[str]:
    if not verdict.risks:
        return []
    look = f"{WINDOWS * rule.window_s / 60.0:g} min"
    confirmed = CONFIRMED_BY.get(rule.confirm)
    asked = f"Asked for: {confirmed}." if confirmed else "No confirmation is asked for: the bare rule."
    alarms = ", ".join(
        f"{_chance(risk.false_alarm)} where they come {'in bouts' if risk.k < float('inf') else 'steadily'}"
        for risk in verdict.risks
    )
    return [asked, f"At half the rule, a look of {look} calls ready by mistake: {alarms}."]


def _chance(chance: float) -> str:
    return "less than 1 %" if chance < RARE else f"{100.0 * chance:.0f} %"


def _window(rule: Rule) -> str:
    return f"{rule.window_s / 60.0:g} min"
