"""Every number, moment and length of time that a public function of the models takes is refused where it cannot be.

The walk finds them all, so that a new function without an entry here fails. Each refusal is a ValueError in one line:
which argument, what was given, what is allowed.
"""

import importlib
import inspect
import math
import pkgutil
import re
from collections.abc import Callable, Iterator
from dataclasses import is_dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import pytest

import swapbell_models
from swapbell_models import (
    chance,
    confirmation,
    correction,
    focus,
    job,
    optics,
    presence,
    readiness,
    scatter,
    sequential,
    sizes,
    traffic,
    visitors,
)
from swapbell_models.calendar import daylight, place, season
from swapbell_models.comparison import agreement, intraclass, rates, recount, trial
from swapbell_models.dosing import authority, balance, dilution, dose, measure, strength
from swapbell_models.forecasting import foraging, forecast, watched
from swapbell_models.proof import efficacy, fall, rebound
from swapbell_models.viewing import cameras, framing, lane, lens, view

AT, DAY, HOUR = datetime(2026, 1, 15, 9, tzinfo=UTC), date(2026, 1, 15), timedelta(hours=1)
NAN, INF = math.nan, math.inf
# What is wrong of each type, unless the argument's own line says otherwise.
WRONG: dict[str, tuple[Any, ...]] = {
    "float": (NAN, INF, -INF, -1.0),
    "int": (-1,),
    "datetime": (AT.replace(tzinfo=None),),
    "date": (AT,),
    "timedelta": (-HOUR, timedelta(days=400)),
}
NOT_A_NUMBER = (NAN, INF, -INF)
PLACE = place.Place(-43.5, 172.6, place.Hemisphere.SOUTH)
PRODUCT, TARGET = strength.Product("invented", 100.0), strength.bait_strength("100 mg/kg")
PERMIT = authority.Authority("permit 12", DAY, PRODUCT, TARGET, TARGET)
COUNT, RATE, SKILL = fall.Count(10, 60.0), traffic.Rate(10.0, 5.0, 18.0), correction.Skill(0.9, 1.0)
SAMPLES = [rates.Sample(group, count, 3600.0) for group in "AB" for count in (4, 5, 6)]
WINDOW = traffic.Window(AT, AT + HOUR, 10, 3600.0)
LENS = lens.Lens(4.0, 2.0)
MODE = cameras.Mode(640, 480, 30.0, 480)
CAMERA = cameras.Camera("invented", 1.4, (MODE,), LENS, 100.0, is_fixed=False, source="invented")
LANE = {"width_mm": 20.0, "speed_mm_per_s": 100.0, "body_length_mm": 12.0, "body_width_mm": 4.0, "depth_mm": 8.0}
LANE |= {"length_mm": 40.0, "exposure_s": 0.001, "tilt_deg": 10.0}
FORAGING = foraging.Foraging(((AT, AT + HOUR),))
CORNERS = [(0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0)]

Case = tuple[Callable[..., object], dict[str, Any], dict[str, tuple[Any, ...]]]


def case(function: Callable[..., object], wrong: dict[str, tuple[Any, ...]] | None = None, **right: Any) -> Case:
    """Return a function with arguments that are right, and what else is wrong than WRONG says."""
    return function, right, wrong or {}


CASES: list[Case] = [
    case(chance.poisson_limits, {"counted": (-1, NAN)}, counted=3, confidence=0.9),
    case(chance.share_limits, {"hits": (-1, 8, NAN), "cases": (0, NAN)}, hits=3, cases=7, confidence=0.9),
    case(chance.deviations, confidence=0.9),
    case(focus.focus, sharpness=3.0),
    case(focus.focus_words, sharpness=3.0),
    case(chance.at_least, {"visits": (), "k": (NAN, 0.0, -1.0)}, visits=3, mean=5.0, k=2.0),
    case(chance.lucky_window, {"visits": (1, NAN)}, visits=3, mean=5.0, look=3),
    case(scatter.scatter, {"counts": (-1, 0.5, *NOT_A_NUMBER)}, counts=[3, 4]),
    case(scatter.check_k, {"k": (NAN, 0.0, -1.0)}, k=2.0),
    case(
        sequential.WaldTest,
        {"high": (*NOT_A_NUMBER, 5.0), "alpha": (*NOT_A_NUMBER, 0.0, 0.5), "beta": (NAN, 0.5), "k": (NAN, 0.0)},
        low=5.0,
        high=10.0,
        alpha=0.05,
        beta=0.05,
        k=2.0,
    ),
    case(
        confirmation.chance_of_ready,
        {"visits": (1,), "k": (NAN, 0.0)},
        mean=5.0,
        visits=10,
        confirm=confirmation.Confirm.FIRST,
        k=2.0,
    ),
    case(confirmation.risks, {"visits": (1,)}, visits=10, confirm=confirmation.Confirm.FIRST),
    case(correction.Skill, {"recall": (*NOT_A_NUMBER, 0.0, 1.1)}, recall=0.9, false_per_h=1.0),
    case(correction.corrected, counted=RATE, skill=SKILL, window_s=300.0),
    case(presence.at_once, per_window=10.0, stay_s=60.0, window_s=300.0),
    case(presence.visits_of, present=3.0, stay_s=60.0, window_s=300.0),
    case(traffic.read, tallies=[], nights=[(AT, AT + HOUR)]),
    case(traffic.rate, seen=WINDOW, seconds=300.0),
    case(readiness.Rule, {"visits": (1, NAN, INF)}, visits=10, window_s=300.0, silent_s=600.0),
    case(readiness.assess, tallies=[], now=AT, rule=readiness.Rule()),
    case(sizes.size_class, length_mm=13.0),
    case(visitors.candidates, length_mm=13.0, error_mm=1.0),
    case(optics.Square, scale=0.17),
    case(optics.angled, {"image_px": NOT_A_NUMBER, "board_mm": NOT_A_NUMBER}, image_px=CORNERS, board_mm=CORNERS),
    case(
        place.Place,
        {"latitude_deg": (*NOT_A_NUMBER, 43.5, -91.0), "longitude_deg": (*NOT_A_NUMBER, 181.0)},
        latitude_deg=-43.5,
        longitude_deg=172.6,
        hemisphere=place.Hemisphere.SOUTH,
    ),
    case(daylight.daylight, place=PLACE, on=DAY),
    case(daylight.forages, place=PLACE, at=AT),
    case(daylight.nights, place=PLACE, from_at=AT, to_at=AT + HOUR),
    case(season.season, on=DAY, place=PLACE),
    case(
        agreement.limits_of_agreement,
        {"first": NOT_A_NUMBER, "second": NOT_A_NUMBER},
        first=[1, 2, 4],
        second=[1, 3, 4],
        confidence=0.9,
    ),
    case(
        agreement.concordance,
        {"first": NOT_A_NUMBER, "second": NOT_A_NUMBER},
        first=[1, 2, 4],
        second=[1, 3, 4],
        confidence=0.9,
    ),
    case(agreement.check_table, {"table": NOT_A_NUMBER}, table=[(1, 2), (3, 4), (5, 6)], confidence=0.9),
    case(intraclass.intraclass, {"readings": NOT_A_NUMBER}, readings=[(1, 2), (3, 4), (5, 6)], confidence=0.9),
    case(rates.Sample, {"visits": (-1, NAN)}, group="A", visits=3, watched_s=60.0),
    case(trial.compare, samples=SAMPLES, confidence=0.9),
    case(recount.recount, machine=[WINDOW], person=[10]),
    case(recount.tallied, clicks_at=[AT], from_at=AT, to_at=AT + HOUR, window_s=300.0),
    case(authority.Authority, basis="permit", expires_on=DAY, product=PRODUCT, directs=TARGET, maximum=TARGET),
    case(balance.Balance, out_g=85.0, back_g=40.0, mg_per_kg=100.0),
    case(dilution.dilute, {"parts": (1,)}, product=PRODUCT, product_ul=85.0, parts=10),
    case(dilution.dilute_for, product=PRODUCT, product_ul=85.0, measure=measure.SYRINGE_1_ML, room=1.0),
    case(dose.dose, bait_g=85.0, target=TARGET, product=PRODUCT, authority=PERMIT, on=DAY),
    case(dose.round_dose, portions_g=[85.0], target=TARGET, product=PRODUCT, authority=PERMIT, on=DAY),
    case(measure.Measure, name="syringe", capacity_ul=1000.0, least_ul=100.0, mark_ul=10.0, error_ul=5.0),
    case(measure.read, volume_ul=85.0, measure=measure.SYRINGE_1_ML, room=1.0),
    case(measure.drops, volume_ul=85.0, per_ml=20.0),
    case(strength.Strength, mg_per_kg=100.0, said="100 mg/kg"),
    case(strength.Product, name="invented", g_per_l=100.0),
    case(efficacy.raw, treated_before=10.0, treated_after=1.0),
    case(efficacy.abbott, control_after=10.0, treated_after=1.0),
    case(efficacy.henderson_tilton, treated_before=10.0, treated_after=1.0, control_before=9.0, control_after=8.0),
    case(
        efficacy.schneider_orelli,
        {"treated_dead": (*NOT_A_NUMBER, 1.1), "control_dead": (*NOT_A_NUMBER, 1.1)},
        treated_dead=0.9,
        control_dead=0.1,
    ),
    case(
        efficacy.sun_shepard,
        {"treated_dead": (*NOT_A_NUMBER, 1.1), "control_change": (*NOT_A_NUMBER, -1.1)},
        treated_dead=0.9,
        control_change=0.1,
    ),
    case(fall.Count, {"visits": (-1, NAN)}, visits=3, watched_s=60.0),
    case(fall.fall, {"fano": (*NOT_A_NUMBER, 0.9)}, before=COUNT, after=COUNT, fano=2.0, confidence=0.9),
    case(
        fall.fall_against_control,
        {"fano": (*NOT_A_NUMBER, 0.9)},
        treated=(COUNT, COUNT),
        control=(COUNT, COUNT),
        fano=2.0,
        confidence=0.9,
    ),
    case(rebound.looks, swapped_at=AT),
    case(rebound.rebound, {"fano": (*NOT_A_NUMBER, 0.9)}, before=COUNT, quietest=COUNT, now=COUNT, fano=2.0),
    case(foraging.Curve, {"levels": (*NOT_A_NUMBER, -0.1, 1.1)}, levels=(0.5, 1.0, 0.5)),
    case(foraging.Foraging, spans=((AT, AT + HOUR),)),
    case(foraging.seconds, moments=[AT]),
    case(foraging.sunlit, place=PLACE, from_at=AT, to_at=AT + HOUR),
    case(foraging.fixed, opens=time(6), closes=time(20), from_at=AT, to_at=AT + HOUR),
    case(watched.read, windows=[WINDOW], foraging=FORAGING, now=AT),
    case(forecast.forecast, windows=[WINDOW], foraging=FORAGING, now=AT, rule=readiness.Rule()),
    case(forecast.bands, windows=[WINDOW], foraging=FORAGING, now=AT, rule=readiness.Rule(), moments=[AT]),
    case(job.Terms, lure=HOUR, toxic=HOUR, idle=HOUR, watch=HOUR),
    case(job.Job, logged_at=AT, fresh_at=AT, swapped_at=AT, withdrawn_at=AT),
    case(lens.Lens, focal_mm=4.0, f_number=2.0),
    case(
        lens.Aim,
        {"tilt_deg": (*NOT_A_NUMBER, -1.0, 46.0), "focus_mm": (NAN, -INF, -1.0)},
        lens=LENS,
        pixel_um=1.4,
        distance_mm=200.0,
        tilt_deg=10.0,
        focus_mm=200.0,
    ),
    case(lens.view_deg, side_mm=3.0, image_mm=4.0),
    case(lens.smear_mm, speed_mm_per_s=300.0, exposure_s=0.001),
    case(lens.frames_in_view, field_mm=60.0, speed_mm_per_s=300.0, fps=30.0),
    case(cameras.Mode, width_px=640, height_px=480, fps=30.0, crop_px=480),
    case(
        cameras.Camera,
        name="invented",
        pixel_um=1.4,
        lens=LENS,
        nearest_mm=100.0,
        modes=(MODE,),
        is_fixed=False,
        source="invented",
    ),
    case(lane.Lane, {"tilt_deg": (*NOT_A_NUMBER, -1.0, 46.0)}, **LANE),
    case(framing.framing, camera=CAMERA, mode=MODE, lane=lane.Lane(**LANE), distances_mm=[200.0]),
    case(framing.framings, camera=CAMERA, lane=lane.Lane(**LANE), distances_mm=[200.0]),
    case(view.view, camera=CAMERA, mode=MODE, lane=lane.Lane(**LANE), side=view.Side.WIDTH, distance_mm=200.0),
]

# What a refusal calls an argument where that is not its name.
CALLED = {
    "first": "readings",
    "second": "readings",
    "table": "readings",
    "mg_per_kg": "strength|mg_per_kg",
    "g_per_l": "product strength",
}
# What takes any number or moment: it compares, projects or prints what others have made sure of.
FREE = {
    "confirmation.confirmed",
    "optics.check_scale",
    "viewing.remedy.rounded",
}
# A unit in brackets, or a share that needs none, or whatever both readings have.
UNIT = re.compile(r"\[[^\]]+\]|[Bb]etween 0 and 1|in any one unit|As for|As `")
# The checks themselves, which test_quantity tries, and words around what others have made sure of.
LEFT_OUT = ("quantity.", "notice.")


def name(function: Callable[..., object]) -> str:
    return f"{function.__module__.removeprefix('swapbell_models.')}.{function.__name__}"


def kind(annotation: object) -> str | None:
    """Return which kind of number or moment an argument takes, if it does."""
    said = annotation if isinstance(annotation, str) else inspect.formatannotation(annotation)
    found = re.search(r"\b(float|datetime|date|timedelta|int)\b(?!\.)", said.replace("datetime.", ""))
    return found[1] if found and "Callable" not in said and "Mapping" not in said else None


def takers() -> Iterator[Callable[..., object]]:
    """Yield each public function of the models, and each public value that looks at what it is given."""
    for found in pkgutil.walk_packages(swapbell_models.__path__, "swapbell_models."):
        for each in vars(importlib.import_module(found.name)).values():
            public = (
                not getattr(each, "__name__", "_").startswith("_") and getattr(each, "__module__", "") == found.name
            )
            checked = inspect.isclass(each) and is_dataclass(each) and "__post_init__" in vars(each)
            if public and (checked or inspect.isfunction(inspect.unwrap(each))):
                yield each


def arguments(function: Callable[..., object]) -> dict[str, str]:
    """Return the arguments of a function that are numbers or moments, and of which kind."""
    signature = inspect.signature(inspect.unwrap(function))
    kinds = {argument: kind(each.annotation) for argument, each in signature.parameters.items()}
    return {argument: each for argument, each in kinds.items() if each}


def spoiled(good: object, wrong: object) -> object:
    """Return what is wrong in the place of what is good: in a sequence, its last item."""
    if not isinstance(good, list | tuple):
        return wrong
    items = [*good[:-1], spoiled(good[-1], wrong)]
    return items if isinstance(good, list) else tuple(items)


def attempts() -> Iterator[Any]:
    for function, good, wrongs in CASES:
        for argument, each in arguments(function).items():
            if argument in good:
                for wrong in wrongs.get(argument, WRONG[each]):
                    yield pytest.param(function, good, argument, wrong, id=f"{name(function)}-{argument}-{wrong}")


def test_every_function_that_takes_a_number_or_a_moment_is_tried() -> None:
    takes = {name(each): set(arguments(each)) for each in takers() if arguments(each)}
    tried = {name(function): set(good) for function, good, _ in CASES}
    missed = {
        function: wanted - tried.get(function, set())
        for function, wanted in takes.items()
        if function not in FREE and not function.startswith(LEFT_OUT)
    }
    assert {function: rest for function, rest in missed.items() if rest} == {}


def test_none_is_free_that_is_not_there() -> None:
    assert {name(each) for each in takers()} >= FREE


@pytest.mark.parametrize(("function", "good", "wrongs"), CASES, ids=[name(each[0]) for each in CASES])
def test_what_is_right_is_taken(function: Callable[..., object], good: dict[str, Any], wrongs: object) -> None:
    function(**good)


@pytest.mark.parametrize(("function", "good", "argument", "wrong"), list(attempts()))
def test_what_cannot_be_is_refused(
    function: Callable[..., object], good: dict[str, Any], argument: str, wrong: object
) -> None:
    with pytest.raises(ValueError, match=CALLED.get(argument, argument)) as refused:
        function(**good | {argument: spoiled(good[argument], wrong)})
    told = str(refused.value)
    assert "must " in told
    assert "\n" not in told
    given = wrong.isoformat() if isinstance(wrong, date) else str(wrong)
    assert given in told or f"{wrong:g}" in told


def told(function: Callable[..., object], argument: str) -> str:
    """Return what a docstring says of an argument, up to the next one."""
    text = inspect.getdoc(function) or ""
    found = re.search(rf"^[\w, ]*\b{argument}\b[\w, ]*(?: : .*)?\n((?: {{4}}.*\n?)+)", text, re.MULTILINE)
    return found[1] if found else ""


@pytest.mark.parametrize("function", [each[0] for each in CASES], ids=name)
def test_each_argument_is_told_of_with_its_unit(function: Callable[..., object]) -> None:
    for argument, each in arguments(function).items():
        assert told(function, argument), argument
        assert each != "float" or UNIT.search(told(function, argument)), argument
    assert inspect.isclass(function) or "Raises\n------\nValueError" in (inspect.getdoc(function) or "")
