"""The mixing sheet as pages to print."""

from collections.abc import Iterator

from reportlab.lib.units import mm

from swapbell_host.jobs.moment import local
from swapbell_host.sheets.form import Paper
from swapbell_host.sheets.mixing import AFTER_USE, AMOUNT_KEYS, STATED_KEYS, TAKE_ALONG, MixingSheet
from swapbell_host.sheets.page import FINE, STRONG, TICK, Leaf
from swapbell_host.trade.answer import by_source

LABEL_PT = 34 * mm


def pdf(made: MixingSheet, paper: Paper) -> bytes:
    """Return a mixing sheet to print."""
    when = local(made.made_at, made.zone)
    leaf = Leaf("Mixing sheet", _of(made), paper, f"swapbell, mixing sheet for {made.asked.on}, made {when}")
    _careful(leaf, made)
    _dose(leaf, made)
    _check(leaf, made)
    _balance(leaf, made)
    _carry(leaf, made)
    return leaf.pdf()


def _of(made: MixingSheet) -> str:
    number = len(made.stations)
    names = ", ".join(str(each.station) for each in made.stations)
    return f"For {made.asked.on}: {number} station{'s' if number > 1 else ''}, mixed once: {names}"


def _careful(leaf: Leaf, made: MixingSheet) -> None:
    if made.warnings:
        leaf.boxed("LOOK OUT", made.warnings)
    leaf.boxed("Before anything is opened", made.told.cautions)


def _dose(leaf: Leaf, made: MixingSheet) -> None:
    leaf.head("What was stated")
    leaf.table(None, [(each.label, each.words) for each in made.figures(STATED_KEYS)], (LABEL_PT, 0.0))
    leaf.head("What goes into which container")
    leaf.table(None, list(_containers(made)), (LABEL_PT, 0.0), style=STRONG)
    leaf.head("How that was worked out")
    leaf.table(None, [(each.label, each.words) for each in made.figures(AMOUNT_KEYS)], (LABEL_PT, 0.0))


def _containers(made: MixingSheet) -> Iterator[tuple[str, str]]:
    """Yield what is put where, in the order of the work."""
    words = {each.key: each.words for each in made.told.figures}
    if "dilution" in words:
        yield "dilution bottle", words["dilution"]
    yield "mixing container", f"{words['bait']}; then {words['set']}"
    number = len(made.stations)
    yield (
        "station" if number == 1 else f"each of {number} stations",
        f"its share: {made.portion} of the bait, with the liquid in it",
    )


def _check(leaf: Leaf, made: MixingSheet) -> None:
    leaf.head("A second person checks, reading aloud, before anything is mixed", 60.0)
    leaf.table(None, [(TICK, each) for each in made.told.checks], (7 * mm, 0.0))
    signs = [("mixed by", "", "", ""), ("checked by", "", "", "")]
    leaf.table(("", "name", "date and time", "signature"), signs, (24 * mm, 0.0, 36 * mm, 52 * mm), writing=True)


def _balance(leaf: Leaf, made: MixingSheet) -> None:
    leaf.head("Out and back", 40.0)
    head = ("", "station", "portion", "out: time", "mass, g", "back: time", "mass, g", "by")
    rows = [(TICK, str(each.station), made.portion, *[""] * 5) for each in made.stations]
    rows += [(TICK, "left over", *[""] * 6)]
    leaf.table(head, rows, (7 * mm, 0.0, 20 * mm, *(22 * mm, 18 * mm) * 2, 16 * mm), writing=True)
    places = [(str(each.station), each.where or "nobody has said where") for each in made.stations]
    leaf.table(("station", "where"), places, (60 * mm, 0.0))


def _carry(leaf: Leaf, made: MixingSheet) -> None:
    leaf.head("To take along")
    leaf.items(TAKE_ALONG, TICK)
    leaf.head("After use")
    leaf.items(AFTER_USE)
    leaf.head("Where the figures come from", 20.0)
    leaf.items([f"{', '.join(labels)}: {source}" for source, labels in by_source(made.told).items()], style=FINE)
