from swapbell_host.rota import ROUND_S, SOON_S, Rota

STATIONS = [("orchard", f"s{n}") for n in range(100)]
SPOKE = ("orchard", "s7")


def test_who_speaks_is_judged_at_once() -> None:
    assert SPOKE in Rota(STATIONS, 0.0).due([SPOKE], 0.0)


def test_who_speaks_much_is_judged_once_in_a_while() -> None:
    rota = Rota(STATIONS, 0.0)
    rota.due([SPOKE], 0.0)
    assert rota.due([SPOKE], 0.5 * SOON_S) == []
    assert rota.due([], SOON_S).count(SPOKE) == 1


def test_who_is_silent_is_judged_in_turn() -> None:
    rota = Rota(STATIONS, 0.0)
    seen = [station for n in range(20) for station in rota.due([], (n + 1) * ROUND_S / 20.0)]
    assert sorted(seen) == sorted(STATIONS)


def test_after_a_long_pause_everyone_is_judged_once() -> None:
    assert sorted(Rota(STATIONS, 0.0).due([], 100.0 * ROUND_S)) == sorted(STATIONS)
