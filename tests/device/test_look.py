"""When a counter says that it cannot count, why, and how it tells it."""

from dataclasses import replace
from typing import Any

import pytest
from msgspec import UNSET

from swapbell_device.look import HOLD_S, Attention, Look, sight
from swapbell_models.tally import Hindrance, Sight

GOOD = Look(3.0, light=120.0, detail=4.0, noise=1.5, shake_mm=0.05, moving=0.01, came=90)


def good(at_s: float) -> Look:
    return replace(GOOD, at_s=at_s)


def test_a_sharp_still_daylight_view_hinders_nobody() -> None:
    assert GOOD.hindrance is None


@pytest.mark.parametrize(
    ("figures", "hindrance"),
    [
        ({"light": 0.4, "detail": 0.0}, Hindrance.LIGHT),
        ({"light": 255.0, "detail": 0.0}, Hindrance.LIGHT),
        ({"detail": 0.0}, Hindrance.DETAIL),
        ({"sharpness": 0.9}, Hindrance.DETAIL),
        ({"noise": 32.0}, Hindrance.NOISE),
        ({"shake_mm": 3.0, "moving": 0.5}, Hindrance.SHAKE),
        ({"moving": 0.5}, Hindrance.MOVING),
        ({"dropped": 91}, Hindrance.DROPPED),
    ],
)
def test_what_no_counter_can_stand_is_named(figures: dict[str, Any], hindrance: Hindrance) -> None:
    assert replace(GOOD, **figures).hindrance is hindrance


@pytest.mark.parametrize("sharpness", [None, 1.0, 2.0, 8.0])
def test_a_view_of_which_nobody_can_tell_or_a_little_out_of_focus_hinders_nobody(sharpness: float | None) -> None:
    assert replace(GOOD, sharpness=sharpness).hindrance is None


def test_what_is_lit_in_the_dark_can_be_counted() -> None:
    assert replace(GOOD, light=5.0, detail=3.0).hindrance is None
    assert replace(GOOD, light=5.0, detail=0.5).hindrance is Hindrance.LIGHT


def test_half_the_frames_are_still_enough() -> None:
    assert replace(GOOD, dropped=90).hindrance is None


def test_a_hindrance_holds_until_looks_have_been_good_for_a_while() -> None:
    attention = Attention()
    attention.note(replace(GOOD, moving=0.9))
    attention.note(good(3.0 + HOLD_S - 0.1))
    assert attention.hindrance is Hindrance.MOVING
    attention.note(good(3.0 + HOLD_S))
    assert attention.hindrance is None


def test_a_new_hindrance_takes_the_place_of_the_old_one() -> None:
    attention = Attention()
    attention.note(replace(GOOD, moving=0.9))
    attention.note(replace(GOOD, at_s=6.0, noise=40.0))
    assert attention.hindrance is Hindrance.NOISE


def test_a_tally_tells_the_means_of_its_looks_and_all_that_was_lost() -> None:
    one, other = replace(GOOD, light=100.0, dropped=2), replace(GOOD, light=110.0, shake_mm=0.15, dropped=3)
    assert sight([one, other], {}) == Sight(
        light=105.0, detail=4.0, noise=1.5, shake_mm=0.1, moving=0.01, dropped=5, blind_s=0.0
    )


def test_a_tally_names_what_hindered_for_longest() -> None:
    told = sight([], {Hindrance.SHAKE: 2.0, Hindrance.MOVING: 3.5})
    assert told == Sight(blind_s=5.5, hindrance=Hindrance.MOVING)


def test_without_a_look_nothing_is_told() -> None:
    assert sight([], {}) is UNSET
