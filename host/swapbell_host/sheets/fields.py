"""What an application record holds: each field, which rules ask for it, where it comes from and when it is asked.

The superset of three sets of rules (see `regimes`) and of what the trade keeps besides. What no rules here ask for is
kept all the same: other places ask for it, or the next season does.
"""

from collections.abc import Mapping

from swapbell_host.jobs.entry import Act
from swapbell_host.sheets.field import SWAPS, Field, Origin, Part, known, of_swap, once
from swapbell_host.sheets.regimes import Regime

EU, RUP, NSW = Regime.EU, Regime.RUP, Regime.NSW
_FULL_NAME = {EU: "full name", RUP: "full name", NSW: "full name"}
_WHERE = {EU: "geodata or parcel", RUP: "the place, not just an address", NSW: "delineated area: see the plan"}

FIELDS = (
    known("record", "record", Part.RECORD, Origin.MADE),
    known(
        "operator",
        "operator",
        Part.PEOPLE,
        Origin.LOG,
        {EU: "name, in Germany", RUP: "name of the certified applicator", NSW: "name"},
    ),
    once("operator_contact", "operator's address and contact", Part.PEOPLE, {NSW: ""}, "address, phone or e-mail"),
    once(
        "employer",
        "employer, and persons supervised",
        Part.PEOPLE,
        {NSW: ""},
        "whose order it was, and who worked under supervision; none if nobody",
    ),
    once(
        "licence",
        "licence or certificate number",
        Part.PEOPLE,
        {RUP: "certificate number"},
        "of whoever puts the toxic bait out",
        SWAPS,
    ),
    known("owner", "owner or occupier", Part.PEOPLE, Origin.PLAN),
    once("authority", "permit, label or registration", Part.PRODUCT, {NSW: "advisable"}, "which one allows the use"),
    once("authority_until", "last day of that permit, label or registration", Part.PRODUCT, {}, "as 2026-09-30"),
    once(
        "product",
        "product",
        Part.PRODUCT,
        _FULL_NAME,
        "full name on the label",
    ),
    once(
        "reg_no",
        "authorisation or registration number",
        Part.PRODUCT,
        {EU: "", RUP: "EPA registration number"},
        "as on the label",
    ),
    of_swap("batch", "batch", Part.PRODUCT, {}, "as on the label"),
    once("supplier", "supplier", Part.PRODUCT, {}, "who sold it"),
    once("product_strength", "concentration of the product", Part.PRODUCT, {}, "as on the label: 100 g/L"),
    once(
        "use_type",
        "type of use",
        Part.PRODUCT,
        {EU: "area, closed space or seed", NSW: "situation"},
        "area, closed space or seed treatment; or the situation in words",
    ),
    of_swap(
        "product_ml",
        "product in this station's bait, before dilution",
        Part.BAIT,
        {RUP: "total quantity of product", NSW: "quantity applied"},
        "a number of mL: 0.085",
        "mL",
    ),
    of_swap("diluent", "diluent and how much", Part.BAIT, {}, "water, 0.765 mL; none if undiluted"),
    known("bait", "kind of bait", Part.BAIT, Origin.PLAN),
    known("mass_out_g", "toxic bait out", Part.BAIT, Origin.LOG, unit="g"),
    of_swap(
        "mg_per_kg",
        "strength of the bait",
        Part.BAIT,
        {EU: "dose", NSW: "rate"},
        "mg/kg, from the mixing sheet",
        "mg/kg",
    ),
    known("ai_mg", "active ingredient in the bait", Part.BAIT, Origin.MADE, unit="mg"),
    known("station", "station", Part.PLACE, Origin.PLAN),
    known("latitude_deg", "latitude, south negative", Part.PLACE, Origin.PLAN, _WHERE, "deg"),
    known("longitude_deg", "longitude, west negative", Part.PLACE, Origin.PLAN, _WHERE, "deg"),
    once("address", "address of the place", Part.PLACE, {NSW: ""}, "where somebody would look for it"),
    known("stations", "stations with toxic bait out at the same time", Part.PLACE, Origin.MADE),
    once(
        "area",
        "area treated",
        Part.PLACE,
        {EU: "", RUP: 'below a tenth of an acre: write "spot treatment"', NSW: ""},
        "as 1.5 ha; or spot treatment",
    ),
    once(
        "crop",
        "crop or site",
        Part.PLACE,
        {EU: "", RUP: "crop, commodity or site", NSW: "crop or situation"},
        "apples; or what it is, such as a school yard",
    ),
    once(
        "eppo",
        "EPPO code of the crop",
        Part.PLACE,
        {EU: "where relevant"},
        "as MABSD for apple; none if there is no crop",
    ),
    of_swap("bbch", "growth stage, BBCH", Part.PLACE, {EU: "where relevant"}, "as 81; none if there is no crop"),
    known(
        "out_at",
        "put out",
        Part.TIME,
        Origin.LOG,
        {
            EU: "date; the start where the authorisation restricts it",
            RUP: "day, month, year; the time, if commercial",
            NSW: "date; the times, if licensed",
        },
    ),
    known("outcome", "what became of the bait", Part.TIME, Origin.LOG),
    known("in_at", "taken in", Part.TIME, Origin.LOG),
    known("mass_in_g", "bait weighed back", Part.TIME, Origin.LOG, unit="g"),
    known("taken_g", "bait that went missing", Part.TIME, Origin.MADE, unit="g"),
    known("disposed_at", "disposed of", Part.TIME, Origin.LOG),
    Field(
        "disposal",
        "how the bait was disposed of",
        Part.TIME,
        Origin.DETAILS,
        hint="as the label says: where, by whom",
        acts=frozenset({Act.DISPOSED}),
    ),
    known(
        "weather",
        "weather",
        Part.CARE,
        Origin.LOG,
        {NSW: "wind, for outdoor sprays; other weather if the label says"},
    ),
    of_swap("ppe", "protection worn", Part.CARE, {}, "gloves, goggles, ..."),
    of_swap("neighbours", "neighbours told", Part.CARE, {}, "who and when; none if nobody"),
    of_swap("beekeepers", "beekeepers told", Part.CARE, {}, "who and when; none if nobody"),
    of_swap("signs", "signs put up", Part.CARE, {}, "where; none if none"),
    known("non_targets", "non-targets seen", Part.CARE, Origin.LOG),
    known("incident", "incidents", Part.CARE, Origin.LOG),
    of_swap("decided_by", "who decided to swap", Part.DECISION, {}, "by name"),
    known("evidence", "on what counts it was decided", Part.DECISION, Origin.COUNTS),
    once(
        "device_version",
        "version of the counter",
        Part.DECISION,
        {},
        "as `pip show swapbell` tells on the board",
        frozenset({Act.LURED, Act.RELURED}),
    ),
)
# What nobody can answer of bait that was never found.
OF_WHAT_CAME_BACK = frozenset({"in_at", "mass_in_g", "taken_g", "disposed_at", "disposal"})
BY_KEY: Mapping[str, Field] = {each.key: each for each in FIELDS}


def asked(act: Act) -> tuple[Field, ...]:
    """Return the fields that a log form asks for with an act, beside what every entry holds, in their order."""
    return tuple(each for each in FIELDS if act in each.acts)


def of_site() -> tuple[Field, ...]:
    """Return the fields that are asked once for a whole site, in their order."""
    return tuple(each for each in FIELDS if each.of_site)


def required(regime: Regime) -> tuple[Field, ...]:
    """Return the fields that some rules ask for, in their order."""
    return tuple(each for each in FIELDS if regime in each.serves)
