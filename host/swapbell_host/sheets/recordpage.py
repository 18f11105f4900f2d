"""Application records as pages to print: what is missing first, the plan, then each record field by field."""

from collections.abc import Iterator, Sequence
from datetime import datetime

from reportlab.lib.units import mm

from swapbell_host.jobs.moment import local
from swapbell_host.jobs.plan import Site
from swapbell_host.sheets.field import Part
from swapbell_host.sheets.fields import required
from swapbell_host.sheets.form import Paper
from swapbell_host.sheets.groundplan import UNDER, Spot, plan
from swapbell_host.sheets.page import FINE, STRONG, Cell, Leaf
from swapbell_host.sheets.record import Filled, Record, gaps
from swapbell_host.sheets.regimes import NOT_LEGAL_ADVICE, Regime

# Our choice: the columns of a record; what is left is for the answers.
FIELD_PT, SERVES_PT, WHENCE_PT = 52 * mm, 28 * mm, 34 * mm
MISSING, NOBODY = "MISSING", "-"


def pdf(records: Sequence[Record], site: Site, spots: Sequence[Spot], at: datetime, paper: Paper) -> bytes:
    """Return the records of a site to print, at least one.

    Parameters
    ----------
    records : sequence of Record
        In the order of the days.
    site : Site
        Whose.
    spots : sequence of Spot
        Its stations as far as somebody has said where they are.
    at : datetime
        When the sheet is made, aware UTC.
    paper : Paper
        What it is printed on.
    """
    when = local(at, site.clock)
    number = f"{len(records)} application{'s' if len(records) > 1 else ''}"
    leaf = Leaf(
        "Application record", f"Site {site.name}: {number}", paper, f"swapbell, record of {site.name}, made {when}"
    )
    leaf.boxed("WHAT IS MISSING", tuple(_missing(records)))
    leaf.text(NOT_LEGAL_ADVICE)
    if spots:
        leaf.head("Where", 60.0)
        leaf.picture(plan(spots, leaf.width), UNDER)
    for made in records:
        _one(leaf, made)
    _rules(leaf)
    return leaf.pdf()


def _missing(records: Sequence[Record]) -> Iterator[str]:
    for regime in Regime:
        lacking = "; ".join(gaps(records, regime))
        yield f"{regime.value.name}: {f'{MISSING} {lacking}' if lacking else 'every field asked for has an answer'}"
    if besides := "; ".join(gaps(records, None)):
        yield f"Kept besides: {MISSING} {besides}"


def _one(leaf: Leaf, made: Record) -> None:
    leaf.head(f"Record {made.application.number}", 60.0)
    rows = [row for part in Part for row in _part(leaf, part, made)]
    leaf.table(("field", "answer", "for", "from"), rows, (FIELD_PT, 0.0, SERVES_PT, WHENCE_PT))
    leaf.head("By when, and for how long")
    due = [(_day(each.due_at), _day(each.keep_until), each.regime.value.short) for each in made.deadlines]
    leaf.table(("to be written by", "to be kept until", "for"), due, (50 * mm, 50 * mm, 0.0))
    if made.corrections:
        leaf.boxed("CORRECTED", made.corrections)


def _part(leaf: Leaf, part: Part, made: Record) -> Iterator[Sequence[Cell]]:
    yield leaf.words(part.value, STRONG), "", "", ""
    yield from (_row(leaf, each) for each in made.filled if each.field.part is part)


def _row(leaf: Leaf, each: Filled) -> Sequence[Cell]:
    unit = f", {each.field.unit}" if each.field.unit else ""
    shown = each.words or (leaf.words(MISSING, STRONG) if each.asked else NOBODY)
    serves = " ".join(regime.value.short for regime in each.field.serves) or NOBODY
    return f"{each.field.label}{unit}", shown, serves, leaf.words(each.whence, FINE)


def _day(at: datetime) -> str:
    return f"{at:%Y-%m-%d %H:%M}"


def _rules(leaf: Leaf) -> None:
    leaf.head("The rules in short")
    leaf.text(
        f"Asked for by {NOBODY}: by none of these; kept because the trade, or another place, asks for it.", FINE
    )
    rows = [(each.value.short, f"{each.value.name}. {_terms(each)} {_wording(each)}") for each in Regime]
    leaf.table(None, rows, (16 * mm, 0.0), ruled=False, style=FINE)


def _terms(regime: Regime) -> str:
    rules = regime.value
    return f"Written {rules.due}; kept {rules.keep}. Read in {rules.source}."


def _wording(regime: Regime) -> str:
    """Return the rules' own words for what they ask, where these say more than our label."""
    told = [f"{each.label}: {each.serves[regime]}" for each in required(regime) if each.serves[regime]]
    return f"Its words: {'; '.join(told)}."
