import numpy as np

from swapbell_device.glance import Glance

MM_PER_PX = 0.17


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
    seen[30][200:224, 300:376] = 60
    assert not glance.shows_nothing_new(seen[30])


def test_an_ant_is_new() -> None:
    seen = views(3.0, 31)
    glance = learnt(seen[:30])
    seen[30][200:223, 300:307] = 60
    assert not glance.shows_nothing_new(seen[30])
