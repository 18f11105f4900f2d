from swapbell_device.following.clutter import (
    BODIES_TIMES,
    CLUTTER_MIN,
    CLUTTER_S,
    CLUTTER_TIMES,
    FAINT_SHARE,
    Clutter,
)
from swapbell_device.following.track import Blob, Track

CLUTTERED = CLUTTER_MIN + 1


def body(contrast: float) -> Track:
    """Return a proven track that has gone straight."""
    track = Track.of(1, Blob(50.0, 10.0, 12.0, 40.0, contrast=contrast), 0.0)
    track.proven, track.seen, track.way_mm = True, 20, 30.0
    return track


def astray(contrast: float, seen: int = 5) -> Track:
    """Return a track that has gone to and fro."""
    track = Track.of(1, Blob(50.0, 10.0, 6.0, 10.0, contrast=contrast), 0.0)
    track.seen, track.way_mm, track.swerve_mm = seen, 10.0, 9.0
    return track


def bar(bodies: float | None, clutter: list[Track], at_s: float = 1.0) -> float:
    """Return the bar after bodies of one contrast, and clutter, at that time."""
    learnt = Clutter()
    learnt.lose(clutter, 0.0)
    learnt.tell([body(bodies)] if bodies else [], at_s)
    return learnt.faint


def test_without_clutter_and_bodies_there_is_no_bar() -> None:
    assert bar(None, []) == 0.0


def test_bodies_set_the_bar_where_there_is_no_clutter() -> None:
    assert bar(100.0, []) == FAINT_SHARE * 100.0


def test_bodies_well_above_the_clutter_set_the_bar() -> None:
    assert bar(100.0, [astray(100.0 / BODIES_TIMES - 1.0)] * CLUTTERED) == FAINT_SHARE * 100.0


def test_clutter_as_strong_as_bodies_sets_the_bar() -> None:
    assert bar(100.0, [astray(80.0)] * CLUTTERED) == CLUTTER_TIMES * 80.0


def test_clutter_without_bodies_sets_the_bar() -> None:
    assert bar(None, [astray(30.0)] * CLUTTERED) == CLUTTER_TIMES * 30.0


def test_its_middle_sets_it_not_its_strongest() -> None:
    assert bar(None, [astray(30.0)] * CLUTTERED + [astray(200.0)] * (CLUTTERED - 2)) == CLUTTER_TIMES * 30.0


def test_fragments_of_a_few_bodies_are_no_clutter() -> None:
    assert bar(100.0, [astray(80.0)] * (CLUTTER_MIN - 1)) == FAINT_SHARE * 100.0


def test_what_is_seen_once_is_no_clutter() -> None:
    assert bar(None, [astray(30.0, seen=1)] * CLUTTERED) == 0.0


def test_what_goes_straight_and_is_over_is_no_clutter() -> None:
    assert bar(None, [body(90.0)] * CLUTTERED) == 0.0


def test_clutter_is_forgotten_once_it_is_over() -> None:
    assert bar(None, [astray(30.0)] * CLUTTERED, CLUTTER_S + 0.1) == 0.0


def test_what_goes_astray_tells_nothing_about_bodies() -> None:
    learnt = Clutter()
    track = astray(100.0, seen=20)
    track.proven = True
    learnt.tell([track], 1.0)
    assert learnt.faint == 0.0


def test_a_fast_camera_does_not_tell_more_often() -> None:
    learnt = Clutter()
    assert [learnt.tell([], at_s) for at_s in (0.0, 0.01, 0.02, 0.11)] == [True, False, False, True]
