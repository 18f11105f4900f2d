"""What a person states of a dose: for one sheet, or once in the details of the site. Nothing is filled in."""

from collections.abc import Iterable, Mapping
from datetime import date

from swapbell_host.jobs.plan import Site, shown
from swapbell_host.trade.mixing import Asked
from swapbell_models.amount import MASS_G, amount

# What a sheet needs, by its name among a site's details, with what a person is asked.
STATED: Mapping[str, str] = {
    "portion": "bait for one station before liquid is added, as 85 g",
    "target": "how strong the bait is to be, as 0.1 g/L or 100 mg/kg",
    "product": "full name on the label in hand",
    "product_strength": "strength on the label in hand, as 100 g/L",
    "authority": "the permit, label or registration that allows it",
    "authority_until": "its last day, as 2026-09-30",
    "covers": "the product strength that it covers, as 100 g/L",
    "directs": "the bait strength that it directs, as 0.1 g/L",
    "at_most": "the strongest bait that it allows, as 0.1 g/L",
}
# What may be left out: what volumes are measured with, and the day of mixing.
MEASURE, ON = "measure", "on"
# As `dose` takes it where nothing is said.
USUAL_MEASURE = "1 mL syringe"


def together(sites: Iterable[Site], given: Mapping[str, str]) -> dict[str, str]:
    """Return what is stated for a sheet: what is given for it, and the rest from the details of its sites.

    Raises
    ------
    ValueError
        If two sites state different things: one mix is for one authority; or if something is stated nowhere.
    """
    told = {name: text for name, text in given.items() if text.strip()}
    for site in sites:
        for name in (*STATED, MEASURE):
            text = site.details.get(name, "")
            if text and name not in given and told.setdefault(name, text) != text:
                here, there = shown(told[name]), shown(text)
                raise ValueError(f"{name} is {here} at one site and {there} at {site.name}: mix apart")
    missing = [name for name in STATED if name not in told]
    if missing:
        raise ValueError(
            f"no dose without all that allows it; nobody stated {', '.join(missing)}: say each for this sheet, or "
            "among the details of the site"
        )
    return told


def asked(told: Mapping[str, str], stations: int, today: date) -> Asked:
    """Return the question that the dose of so many equal portions answers.

    Parameters
    ----------
    told : mapping
        By `together`.
    stations : int
        How many get a portion.
    today : date
        At the place.

    Raises
    ------
    ValueError
        If the portion is no mass or a day cannot be read.
    """
    amount("portion", told["portion"], MASS_G)  # one mass alone: the number of them is said here
    return Asked(
        bait=f"{stations} x {told['portion']}",
        target=told["target"],
        product=told["product"],
        strength=told["product_strength"],
        authority=told["authority"],
        until=day("authority_until", told["authority_until"]),
        covers=told["covers"],
        directs=told["directs"],
        at_most=told["at_most"],
        measure=told.get(MEASURE, USUAL_MEASURE),
        back=None,
        on=day(ON, told[ON]) if ON in told else today,
        today=today,
    )


def day(name: str, text: str) -> date:
    """Return a day, or refuse it."""
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise ValueError(f"{name} must be a day such as 2026-09-30, not {shown(text)}") from None
