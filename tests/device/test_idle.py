import numpy as np

from swapbell_device.idle import Idle

MM_PER_PX = 0.17


def views(sigma: float, count: int) -> list[np.ndarray]:
    rng = np.random.default_rng(7)
    board = np.full((480, 640), 150.0)
    return [np.clip(board + rng.normal(0.0, sigma, board.shape), 0, 255).astype(np.uint8) for _ in range(count)]


def learnt(seen: list[np.ndarray]) -> Idle:
    idle = Idle(seen[0], MM_PER_PX)
    for view in seen:
        idle.learn(view)
    return idle


def test_noise_of_any_strength_is_idle_once_it_is_known() -> None:
    for sigma in (0.0, 2.0, 8.0, 20.0):
        seen = views(sigma, 40)
        idle = learnt(seen[:30])
        assert all(idle.holds(view) for view in seen[30:])


def test_a_wasp_is_not_idle() -> None:
    seen = views(3.0, 31)
    idle = learnt(seen[:30])
    seen[30][200:224, 300:376] = 60
    assert not idle.holds(seen[30])


def test_an_ant_is_not_idle() -> None:
    seen = views(3.0, 31)
    idle = learnt(seen[:30])
    seen[30][200:223, 300:307] = 60
    assert not idle.holds(seen[30])
