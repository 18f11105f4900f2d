"""Verify: what became of the traffic after a swap, against the control stations; quiet is not dead."""

from dataclasses import dataclass

from swapbell_host.compare import Comparison
from swapbell_host.jobs.lures import Swap
from swapbell_host.page.door import Door
from swapbell_host.page.showing.forest import forest
from swapbell_host.page.visit import Answer, Page, Visit
from swapbell_host.page.working import form
from swapbell_host.verifying.finding import S_PER_H, Finding, Side
from swapbell_models.proof.fall import NOT_DEAD, Fall
from swapbell_models.proof.rebound import LOOK_DAYS

TOGETHER = "all together"


@dataclass(frozen=True, slots=True)
class Row:
    """One finding as it is shown."""

    name: str
    finding: Finding


def show(visit: Visit) -> Answer:
    """Show what became of the traffic after one of a site's swaps."""
    sites = visit.house.servicebook.sites(visit.at)
    compared = {name: _of(visit, name) for name in sites}
    swaps = {name: each.swaps() for name, each in compared.items()}
    chosen = _chosen(visit, swaps)
    values: dict[str, object] = {
        "swaps": [(f"{name}/{n}", name, swap) for name, all_of in swaps.items() for n, swap in enumerate(all_of)],
        "sites": sites,
        "chosen": None,
        "look_days": LOOK_DAYS,
        "not_dead": NOT_DEAD,
        "seen": seen,
        "rate": rate,
        "share": share,
    }
    if chosen:
        name, n = chosen
        values |= {"chosen": f"{name}/{n}", "swap": swaps[name][n], "site": sites[name]}
        values |= _found(compared[name], swaps[name][n])
    return Page("verify.html", values)


def _of(visit: Visit, site: str) -> Comparison:
    house = visit.house
    return Comparison(house.servicebook, house.countbook, site, visit.at, config=house.config)


def _chosen(visit: Visit, swaps: dict[str, list[Swap]]) -> tuple[str, int] | None:
    """Return the swap that was asked for; else the latest of all."""
    site, _, number = visit.query.get("swap", "").rpartition("/")
    n = form.number(number)
    if n is not None and n < len(swaps.get(site, ())):
        return site, n
    latest = [(all_of[-1].from_at, name, len(all_of) - 1) for name, all_of in swaps.items() if all_of]
    return max(latest)[1:] if latest else None


def _found(compared: Comparison, swap: Swap) -> dict[str, object]:
    together, each = compared.of(swap)
    rows = [Row(found.stations[0][1], found) for found in each]
    shown = [Row(TOGETHER, together), *rows] if together else rows
    told = [row for row in shown if row.finding.fall]
    return {
        "head": told[0] if told else None,
        "rows": shown,
        "forest": forest([(row.name, row.finding.best) for row in shown]),
        "left": max((row.finding.left for row in shown), key=len, default=""),
        "caution": max((row.finding.caution for row in told), key=len, default=""),
    }


def rate(side: Side) -> str:
    """Return the visits per watched hour with their limits, for a person."""
    if side.per_h is None or side.limits_per_h is None:
        return "not watched"
    low, high = side.limits_per_h
    return f"{side.per_h:.1f} ({low:.1f} to {high:.1f})"


def seen(side: Side) -> str:
    """Return the visits and the effort behind them."""
    return f"{side.visits} visits in {side.watched_s / S_PER_H:.1f} h"


def share(fall: Fall | None) -> str:
    """Return a fall with its limits in a cell of a table."""
    if fall is None:
        return "no number"
    if fall.ratio is None or fall.low is None or fall.high is None:
        return f"none: {fall.undefined.value}" if fall.undefined else "no number"
    return f"{1.0 - fall.ratio:.1%} ({1.0 - fall.high:.1%} to {1.0 - fall.low:.1%})"


DOORS = (Door("/verify", show),)
