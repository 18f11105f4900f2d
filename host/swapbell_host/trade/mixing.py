"""How much product goes into the bait of a round, under the authority that the person states."""

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from swapbell_host.trade.answer import Answer, Figure
from swapbell_models.amount import MASS_G, amount, masses
from swapbell_models.dosing.authority import Authority
from swapbell_models.dosing.balance import Balance
from swapbell_models.dosing.dilution import Dilution
from swapbell_models.dosing.dose import Mix, mix, round_dose
from swapbell_models.dosing.measure import DROPS_CAUTION, REAL_DROP_MAX_UL, REAL_DROP_MIN_UL, drops, measure
from swapbell_models.dosing.strength import Product, Strength, bait_strength, product

_STATED = "as you stated it; not checked here"
_ARITHMETIC = "by arithmetic"
_FORMULA = "bait [g] x target [mg/kg] / product [g/L] = [uL], by arithmetic"
_DENSITY = "as you stated it; g/L and mg/L take a litre of bait to weigh 1 kg: our choice"
_MARKS = (
    "the nearest mark that not even a fill read high takes above what the authority allows: our choice; error of the "
    "measure: half a mark, common practice, no source; pipettes: ISO 8655"
)
_RATIOS = "least of 1 in 10, 20, 50, 100 that can be measured to a twentieth: our choice"
_FINISHED = "product and water taken to weigh 1 g per mL: our choice"
_DROPS = "20 drops of water per mL within 10 %: USP <1101>; real drops of 20 to 70 uL: UNC pharmacy pages on droppers"


@dataclass(frozen=True, slots=True)
class Asked:
    """What a person asks, as typed.

    Attributes
    ----------
    bait
        Portions: "10 x 85 g".
    target
        How strong the bait is to be.
    product, strength
        Name on the label in hand, and how strong it is.
    authority, until
        Which permit, label or registration, and its last day.
    covers, directs, at_most
        The product strength it covers, the bait strength it directs, and the strongest it allows.
    measure
        What volumes are measured with.
    back
        Bait that came back, weighed; nothing if none has yet.
    on
        The day of mixing, at the place.
    today
        The day by this machine's clock.
    """

    bait: str
    target: str
    product: str
    strength: str
    authority: str
    until: date
    covers: str
    directs: str
    at_most: str
    measure: str
    back: str | None
    on: date
    today: date


def answer(asked: Asked) -> Answer:
    """Return the dose for a round, how to measure it, and what to be careful of.

    Raises
    ------
    ValueError
        If something typed cannot be read, or the authority does not allow the dose.
    """
    authority, in_hand = _authority(asked), product(asked.product, asked.strength, "--strength")
    target = bait_strength(asked.target, in_hand, "--target")
    portions_g = masses("--bait", asked.bait)
    mixed = mix(round_dose(portions_g, target, in_hand, authority, asked.on), measure("--measure", asked.measure))
    figures = (*_asked(mixed, portions_g), *_measured(mixed), *_balance(mixed, asked.back))
    warnings = (*_another_day(asked), *mixed.warnings)
    return Answer(figures, warnings, _checks(mixed, asked.on), cautions=(*mixed.cautions, DROPS_CAUTION))


def _authority(asked: Asked) -> Authority:
    covered = product(asked.product, asked.covers, "--covers")
    directs = bait_strength(asked.directs, covered, "--directs")
    at_most = bait_strength(asked.at_most, covered, "--at-most")
    return Authority(asked.authority, asked.until, covered, directs, at_most)


def _another_day(asked: Asked) -> Iterator[str]:
    if asked.on != asked.today:
        ended = f"; {asked.authority} has ended since: mix nothing by it" if asked.until < asked.today else ""
        yield f"worked out for {asked.on}, not for today, {asked.today} by this machine's clock{ended}"


def _asked(mixed: Mix, portions_g: tuple[float, ...]) -> Iterator[Figure]:
    dose = mixed.dose
    law = dose.authority
    words = f"{law.basis}, until {law.expires_on}; directs {law.directs}, allows at most {law.maximum}"
    yield Figure("authority", "authority", words, _STATED, law.basis)
    yield Figure("bait", "bait", _portions(portions_g), _STATED, dose.bait_g, "g")
    yield Figure("target", "target", str(dose.target), _DENSITY, dose.target.mg_per_kg, "mg/kg")
    yield Figure("product", "product", _named(dose.product), _STATED, dose.product.g_per_l, "g/L")
    volume = f"{_ml(dose.product_ul)} of product for all of the bait"
    yield Figure("product_volume", "product needed", volume, _FORMULA, dose.product_ul, "uL")
    ingredient = (
        f"{dose.ai_mg:.4g} mg in all, {_spread([_mg(dose.target, each) for each in portions_g])} in a portion"
    )
    yield Figure("active_ingredient", "active ingredient", ingredient, _ARITHMETIC, dose.ai_mg, "mg")


def _diluted(made: Dilution) -> Figure:
    words = (
        f"first mix {made.product_ml:g} mL of product with {made.water_ml:g} mL of water (1 in {made.parts}, "
        f"{made.g_per_l:g} g/L); {made.left_ml:.4g} mL of it will be left: dispose of it as the label says"
    )
    return Figure("dilution", "dilution", words, _RATIOS, made.parts, "parts")


def _measured(mixed: Mix) -> Iterator[Figure]:
    reading = mixed.reading
    if mixed.dilution:
        yield _diluted(mixed.dilution)
    fills = f" in {reading.fills} fills" if reading.fills > 1 else ""
    words = f"{_ml(reading.set_ul)} of the {_liquid(mixed)} by {reading.measure.name}{fills}, into all of the bait"
    yield Figure("set", "measure", words, _MARKS, reading.set_ul, "uL")
    words = f"{reading.rounding:+.1%} by the marks, and up to {reading.error:.1%} more or less by reading them"
    yield Figure("rounding", "rounding", words, _MARKS, reading.rounding, "1")
    yield from _strengths(mixed)
    yield _drops(mixed.dose.product_ul)


def _strengths(mixed: Mix) -> Iterator[Figure]:
    gives, low, high = (each.mg_per_kg for each in (mixed.strength, mixed.weakest, mixed.strongest))
    words = f"{gives:.4g} mg/kg, {low:.4g} to {high:.4g}, by mass of bait before liquid is added"
    yield Figure("strength", "gives", words, _MARKS, gives, "mg/kg")
    finished = mixed.finished.mg_per_kg
    yield Figure("finished", "finished bait", f"{finished:.4g} mg/kg with the liquid", _FINISHED, finished, "mg/kg")


def _drops(product_ul: float) -> Figure:
    told = [
        f"{each.count} would be {each.error_low:+.0%} to {each.error_high:+.0%} from a calibrated dropper, "
        f"{_off(each.count * REAL_DROP_MIN_UL, product_ul)} to {_off(each.count * REAL_DROP_MAX_UL, product_ul)} "
        "as drops really fall"
        for each in drops(product_ul)
    ]
    return Figure(
        "drops", "never by drops", "; ".join(told), _DROPS, [each.count for each in drops(product_ul)], "drops"
    )


def _off(volume_ul: float, wanted_ul: float) -> str:
    return f"{volume_ul / wanted_ul - 1.0:+.0%}"


def _balance(mixed: Mix, back: str | None) -> Iterator[Figure]:
    if back is not None:
        back_g = amount("--back", back, MASS_G, may_be_zero=True)
        balance = Balance(mixed.finished_g, back_g, mixed.finished.mg_per_kg)
        ingredient = "" if balance.taken_mg is None else f"; {balance.taken_mg:.4g} mg of active ingredient with it"
        yield Figure("taken", "taken", balance.words + ingredient, _ARITHMETIC, balance.taken_g, "g")


def _checks(mixed: Mix, on: date) -> tuple[str, ...]:
    dose, law = mixed.dose, mixed.dose.authority
    volume = f"{_ml(mixed.reading.set_ul)} of the {_liquid(mixed)}"
    return (
        f"The label says {dose.product.name} and {dose.product.g_per_l:g} g/L, and {law.basis} is for it.",
        f"{law.basis} directs {law.directs} here, on {on} and for this use.",
        f"{dose.target} of {dose.bait_g:g} g of bait are {dose.ai_mg:.4g} mg: worked out again without this sheet.",
        f"The {mixed.reading.measure.name} is set to {volume}, not ten times that.",
    )


def _liquid(mixed: Mix) -> str:
    return f"1 in {mixed.dilution.parts} dilution" if mixed.dilution else "product itself"


def _named(each: Product) -> str:
    return f"{each.name}, {each.g_per_l:g} g/L"


def _ml(volume_ul: float) -> str:
    return f"{volume_ul / 1000.0:.4g} mL"


def _mg(target: Strength, portion_g: float) -> float:
    return target.mg_per_kg * portion_g / 1000.0


def _spread(values: list[float]) -> str:
    low, high = min(values), max(values)
    return f"{low:.4g} mg" if low == high else f"{low:.4g} to {high:.4g} mg"


def _portions(portions_g: tuple[float, ...]) -> str:
    if len(portions_g) == 1:
        return f"{portions_g[0]:g} g, before liquid is added"
    told = " + ".join(f"{count} x {mass:g} g" for mass, count in Counter(portions_g).items())
    return f"{math.fsum(portions_g):g} g, before liquid is added ({told})"
