"""What has to be printed, cut and bought: masses and times with what they assume."""

from collections import Counter
from dataclasses import dataclass

from swapbell_enclosure.assembly import Assembly
from swapbell_enclosure.parameters import Printer
from swapbell_enclosure.part import Part
from swapbell_enclosure.screws import ADAPTERS, screws

CAUTIONS = (
    "Stings: mount and clean when wasps do not fly, in protective clothing; never alone if you are allergic.",
    "Blades: cut sheets on a board, away from your hand.",
    "Insecticide: once toxic bait has been near, label all parts POISON and keep them apart from kitchen things",
    "  for good; wear gloves, and keep rinsings out of drains and water. The bait's label and local law come first.",
)


@dataclass(frozen=True, slots=True)
class PrintedLine:
    """One printed part: how often, its mass [g] and its time on the printer [h], each for one."""

    name: str
    quantity: int
    mass_g: float
    time_h: float


def printed_lines(parts: tuple[Part, ...], printer: Printer) -> list[PrintedLine]:
    """Return every printed part, as if printed solid: an upper bound that sparse filling stays below."""
    return [
        PrintedLine(
            part.name.value,
            len(part.bodies),
            part.body.volume / 1000.0 * printer.density_g_per_cm3,
            part.body.volume / printer.flow_mm3_per_s / 3600.0,
        )
        for part in parts
        if part.printed
    ]


def words(assembly: Assembly) -> str:
    """Return the bill as a page of text."""
    sections = {
        "Printed": _printed(assembly),
        "Cut from sheets": _cut(assembly),
        "Bought": _bought(assembly),
        "Cautions": [each if each.startswith(" ") else f"- {each}" for each in CAUTIONS],
    }
    lines = [line for title, body in sections.items() for line in (f"## {title}", "", *body, "")]
    return "\n".join(["# Bill of materials", "", *lines])


def _printed(assembly: Assembly) -> list[str]:
    printer = assembly.layout.parameters.printer
    lines = printed_lines(tuple(assembly.in_place), printer)
    mass, hours = (sum(getattr(each, key) * each.quantity for each in lines) for key in ("mass_g", "time_h"))
    return [
        "| part | pieces | g each | h each |",
        "|---|---|---|---|",
        *(f"| {each.name} | {each.quantity} | {each.mass_g:.0f} | {each.time_h:.1f} |" for each in lines),
        f"| together | {sum(each.quantity for each in lines)} | {mass:.0f} | {hours:.1f} |",
        "",
        f"Printed solid, {printer.density_g_per_cm3:g} g/cm3, {printer.flow_mm3_per_s:g} mm3/s on average, "
        "moves included, heating up not: upper bounds. Of the three adapters only your station's counts.",
    ]


def _cut(assembly: Assembly) -> list[str]:
    sheets = [part for part in assembly.in_place if not part.printed]
    rows = [f"| {part.name.value} | {len(part.bodies)} | {part.sheet_mm:g} | {part.material} |" for part in sheets]
    return ["| part | pieces | mm thick | of |", "|---|---|---|---|", *rows]


def _bought(assembly: Assembly) -> list[str]:
    return [
        *(f"- {count} x {name}" for name, count in sorted(_screws(assembly).items())),
        f"- 1 x cable gland for a hole of {assembly.layout.parameters.housing.gland_mm:g} mm",
        "- wire or cord for hanging, rated for five times the whole mass",
    ]


def _screws(assembly: Assembly) -> Counter[str]:
    """Count screws and nuts; the ears' screws are as long as adapter and wall ask, so they are left to measure."""
    bought: Counter[str] = Counter()
    for screw in screws(assembly.layout):
        size = screw.thread.name.replace("_", ".")
        through = any(name in ADAPTERS for name in screw.slips)
        length = "as long as lane, adapter and wall ask, and 5 mm" if through else f"{screw.length_mm} mm"
        bought[f"screw {size}, {length}, stainless"] += 1
        if screw.bites is None:
            bought[f"nut {size}, locking, stainless"] += 1
            bought[f"washer {size}, stainless"] += 1
    return bought
