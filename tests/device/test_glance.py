from functools import cache

import numpy as np
import pytest

from swapbell_device.seeing.glance import Glance

MM_PER_PX = 0.17
BOX_MM = (13.0, 4.0)
NOBODY = np.zeros((120, 160), np.uint8)


@cache
def views(sigma: float, count: int) -> list[np.ndarray]:
    rng = np.random.default_rng(7)
    board = np.full((480, 640), 150.0)
    return [np.clip(board + rng.normal(0.0, sigma, board.shape), 0, 255).astype(np.uint8) for _ in range(count)]


def learnt(seen: list[np.ndarray]) -> Glance:
    glance = Glance(seen[:1], MM_PER_PX)
    for view in seen:
        glance.learn(view)
    return glance


def test_noise_of_any_strength_is_nothing_new_once_it_is_known() -> None:
    for sigma in (0.0, 2.0, 5.0):
        seen = views(sigma, 40)
        glance = learnt(seen[:30])
        assert all(glance.shows_nothing_new(view) for view in seen[30:])


def test_a_wasp_is_new() -> None:
    seen = views(3.0, 31)
    glance = learnt(seen[:30])
    wasp = seen[30].copy()
    wasp[200:224, 300:376] = 60
    assert not glance.shows_nothing_new(wasp)


def test_an_ant_is_new() -> None:
    seen = views(3.0, 31)
    glance = learnt(seen[:30])
    ant = seen[30].copy()
    ant[200:223, 300:307] = 60
    assert not glance.shows_nothing_new(ant)


def with_body(view: np.ndarray, x_mm: float, y_mm: float) -> np.ndarray:
    """Return a view in which a body of 13 x 4 mm begins at a place."""
    shown = view.copy()
    shown[box(x_mm, y_mm, MM_PER_PX)] = 60
    return shown


def box(x_mm: float, y_mm: float, mm_per_px: float) -> tuple[slice, slice]:
    spans = ((at_mm, at_mm + side_mm) for at_mm, side_mm in zip((y_mm, x_mm), reversed(BOX_MM), strict=True))
    top, left = (slice(round(low / mm_per_px), round(high / mm_per_px)) for low, high in spans)
    return top, left


def mask_of(x_mm: float, y_mm: float, step: int) -> np.ndarray:
    mask = np.zeros((480 // step, 640 // step), np.uint8)
    mask[box(x_mm, y_mm, MM_PER_PX * step)] = 255
    return mask


@pytest.mark.parametrize("step", [1, 2, 4])
def test_what_is_known_may_move_three_millimetres_without_being_new(step: int) -> None:
    glance = learnt(seen := views(2.0, 30))
    glance.know(mask_of(40.0, 40.0, step), with_body(seen[0], 40.0, 40.0))
    assert all(
        glance.shows_nothing_new(with_body(seen[0], 40.0 + dx, 40.0 + dy))
        for dx, dy in ((0.0, 0.0), (3.0, 0.0), (-3.0, 0.0), (0.0, 3.0), (0.0, -3.0))
    )


@pytest.mark.parametrize("step", [1, 2, 4])
def test_what_is_known_is_new_once_it_has_moved_six_millimetres(step: int) -> None:
    glance = learnt(seen := views(2.0, 30))
    glance.know(mask_of(40.0, 40.0, step), with_body(seen[0], 40.0, 40.0))
    assert not any(
        glance.shows_nothing_new(with_body(seen[0], 40.0 + dx, 40.0 + dy))
        for dx, dy in ((6.0, 0.0), (-6.0, 0.0), (0.0, 6.0), (0.0, -6.0))
    )


def test_what_is_known_may_move_in_a_fine_view_too() -> None:
    seen = views(2.0, 1)
    glance = Glance(seen, 0.05)
    mask, moved = np.zeros((30, 40), np.uint8), seen[0].copy()
    mask[12:18, 12:28] = 255
    moved[192:288, 242:498] = 60
    glance.know(mask, seen[0])
    assert glance.shows_nothing_new(moved)


def test_what_comes_elsewhere_is_new() -> None:
    glance = learnt(seen := views(2.0, 30))
    glance.know(mask_of(40.0, 40.0, 4), with_body(seen[0], 40.0, 40.0))
    assert not glance.shows_nothing_new(with_body(with_body(seen[0], 40.0, 40.0), 80.0, 10.0))


def test_what_was_known_is_new_once_a_look_does_not_find_it() -> None:
    glance = learnt(seen := views(2.0, 30))
    body = with_body(seen[0], 40.0, 40.0)
    glance.know(mask_of(40.0, 40.0, 4), body)
    glance.know(NOBODY, seen[0])
    assert not glance.shows_nothing_new(body)


def test_what_a_look_found_empty_is_trusted() -> None:
    glance = learnt(seen := views(2.0, 30))
    stain = with_body(seen[0], 80.0, 10.0)
    glance.know(NOBODY, stain)
    assert glance.shows_nothing_new(stain)


def test_a_body_that_is_known_is_not_taken_for_the_empty_view() -> None:
    glance = learnt(seen := views(2.0, 30))
    both = with_body(with_body(seen[0], 40.0, 40.0), 80.0, 10.0)
    glance.know(mask_of(40.0, 40.0, 4), both)
    glance.learn(both)
    glance.know(NOBODY, seen[0])
    assert not glance.shows_nothing_new(with_body(seen[0], 40.0, 40.0))


def test_in_strong_noise_a_glance_tells_nothing() -> None:
    seen = views(12.0, 40)
    glance = learnt(seen)
    assert not any(glance.shows_nothing_new(view) for view in seen)
