"""Evidence and its audit in words for a person, and as JSON for a program."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence

from swapbell_host.auditing.audit import Audit, Share
from swapbell_models.comparison.agreement import THINGS_MIN, Estimate
from swapbell_models.evidence import Item, Label, label


def row(item: Item) -> str:
    """Return an item as one line of a list."""
    told = label(item.name)
    when = "time unknown" if told.at is None else f"{told.at:%Y-%m-%d %H:%M:%S} UTC"
    seen = told.passing
    what = f"strip  {seen.direction.value:<3} {seen.size.value:<5} {seen.length_mm:4.1f} mm" if seen else "clip"
    return f"{item.name}  {when}  {size(item.size):>8}  {what}"


def summary(items: Sequence[Item]) -> str:
    """Return what a list comes to, and how many crossings between its strips have none."""
    whole = f"{len(items)} items, {size(sum(item.size for item in items))}"
    if missing := _missing(label(item.name) for item in items):
        return f"{whole}; {missing} crossings between these strips have none: more came than are kept in a rush"
    return whole


def as_row(item: Item) -> dict[str, object]:
    """Return an item for a program."""
    told = label(item.name)
    found: dict[str, object] = {
        "item": item.name,
        "kind": "strip" if told.passing else "clip",
        "at": told.at,
        "boot": told.boot,
        "up_s": told.up_s,
        "bytes": item.size,
    }
    if (seen := told.passing) is not None:
        found |= {
            "crossing": seen.number,
            "direction": seen.direction.value,
            "size": seen.size.value,
            "length_mm": seen.length_mm,
        }
    return found


def size(size_bytes: int) -> str:
    """Return a number of bytes as a person reads it."""
    return f"{size_bytes / 1e6:.2f} MB"


def report(found: Audit) -> Iterator[str]:
    """Yield an audit's lines: what was compared, what came of it, what was left out, what it is worth."""
    compared = found.recount
    yield (
        f"films compared, of a minute each: {len(compared.errors)}; visits: {sum(compared.machine)} that the counter "
        f"reported, {sum(compared.person)} that the person saw"
    )
    yield from _left_out(found)
    if compared.errors:
        yield from _agreement(found)
    if found.recall.cases or found.precision.cases:
        yield _share("recall, by moments", found.recall, "of the person's visits the counter saw")
        yield _share("precision, by moments", found.precision, "of the counter's visits the person saw")
    if found.strips.cases:
        yield _share("strips", found.strips, "show what was counted")
    yield (
        "limits of shares: Clopper and Pearson 1934, exact if each visit were missed by chance alone; visits of one "
        "minute are alike, so they are too narrow"
    )


def as_report(found: Audit) -> dict[str, object]:
    """Return an audit for a program."""
    compared = found.recount
    enough = len(compared.errors) >= THINGS_MIN
    return {
        "films": len(compared.errors),
        "machine": compared.machine,
        "person": compared.person,
        "total_error": compared.total_error,
        "mean_error": compared.mean_error,
        "limits_of_agreement": compared.limits() if enough else None,
        "concordance": compared.concordance() if enough else None,
        **{
            name: {"hits": share.hits, "cases": share.cases, "value": share.value, "limits": share.limits}
            for name, share in (
                ("exact", found.exact),
                ("recall_at_most", found.at_most),
                ("recall", found.recall),
                ("precision", found.precision),
                ("strips", found.strips),
            )
        },
        "left_out": {
            "unanswered": found.unanswered,
            "unwatched": found.unwatched,
            "unanswered_strips": found.unanswered_strips,
            "without_film": found.missing,
        },
        "parts": {"seen": found.parts_seen, "drawn": found.parts_drawn},
    }


def _left_out(found: Audit) -> Iterator[str]:
    if found.unanswered:
        yield f"left out: films that nobody counted: {found.unanswered}"
    if found.unwatched:
        yield f"left out: films that the counter did not watch throughout, by its own word: {found.unwatched}"
    for why, times in found.missing.items():
        yield f"left out: minutes without a film, because {why}: {times}"
    if found.unanswered_strips:
        yield f"left out: strips that nobody answered for: {found.unanswered_strips}"
    if found.parts_seen < found.parts_drawn:
        yield (
            f"of {found.parts_drawn} parts of these days, {found.parts_seen} have a film here: the sample is even "
            "only as far as the rest are missing by chance"
        )


def _agreement(found: Audit) -> Iterator[str]:
    compared = found.recount
    if (error := compared.total_error) is not None and compared.mean_error is not None:
        yield f"total: {error:+.1%} against the person; a minute is off by {compared.mean_error:.2f} visits"
    yield _share("minutes counted to the visit", found.exact, "minutes")
    if found.at_most.cases:
        yield _share(
            "recall, at most", found.at_most, "of the person's visits have one of the counter's in their minute"
        )
    if len(compared.errors) < THINGS_MIN:
        yield f"limits of agreement need {THINGS_MIN} films or more"
        return
    limits, lin = compared.limits(), compared.concordance()
    yield (
        f"bias {_estimate(limits.bias)} visits a minute; 95 % of minutes between {_estimate(limits.lower)} and "
        f"{_estimate(limits.upper)} (Bland and Altman 1986, Lancet 327:307-310)"
    )
    if lin.concordance.value is not None:
        yield f"concordance {_estimate(lin.concordance)}: {lin.word} (Lin 1989, Biometrics 45:255-268; McBride 2005)"


def _share(what: str, share: Share, meaning: str) -> str:
    if share.value is None or share.limits is None:
        return f"{what}: nothing to tell it by"
    low, high = share.limits
    return f"{what}: {share.value:.1%} ({low:.1%} to {high:.1%}): {share.hits} of {share.cases} {meaning}"


def _estimate(estimate: Estimate) -> str:
    known = estimate.low is not None and estimate.high is not None
    return f"{estimate.value:.2f} ({estimate.low:.2f} to {estimate.high:.2f})" if known else f"{estimate.value:.2f}"


def _missing(labels: Iterable[Label]) -> int:
    """Return how many numbers of crossings are missing between the first and the last strip of each start."""
    numbers = defaultdict[str, set[int]](set)
    for told in labels:
        if told.passing is not None:
            numbers[told.boot].add(told.passing.number)
    return sum(max(seen) - min(seen) + 1 - len(seen) for seen in numbers.values())
