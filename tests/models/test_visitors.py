"""The table of visitors says who may be meant by a length, and that a wasp cannot be told from a bee by it."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_models.sizes import CAUTION, SizeClass, size_class
from swapbell_models.visitors import VISITORS, Visitor, candidates, mistakable


def visitor(part: str) -> Visitor:
    """Return the visitor whose name holds these words."""
    (found,) = (each for each in VISITORS if part in each.name)
    return found


@pytest.mark.parametrize(
    ("part", "shortest_mm", "longest_mm"),
    [
        ("germanica", 10, 15),  # Museums Victoria
        ("vulgaris", 11, 17),  # bumblebee.org 11-14, an encyclopaedia 12-17
        ("queen or male", 13, 20),  # bumblebee.org, males 13-17; Museums Victoria, to 20
        ("honey bee", 12, 15),  # from memory
        ("Polistes", 15, 25),  # Biosecurity Tasmania
        ("hornet", 25, 25),  # a general web page
        ("blowfly", 5, 15),  # bumblebee.org
        ("house fly", 5, 8),  # pest and citizen-science pages
    ],
)
def test_the_table_of_lengths(part: str, shortest_mm: float, longest_mm: float) -> None:
    found = visitor(part)
    assert (found.shortest_mm, found.longest_mm) == (shortest_mm, longest_mm)
    assert found.source


def test_every_length_of_a_target_is_wasp_sized() -> None:
    assert all(each.classes == {SizeClass.WASP} for each in VISITORS if each.is_target)


def test_the_bait_is_for_wasps_of_two_kinds_only() -> None:
    assert [each.is_target for each in VISITORS] == [True] * 3 + [False] * 5


def test_length_lets_bees_blowflies_and_paper_wasps_pass_for_wasps() -> None:
    assert mistakable() == (visitor("honey bee"), visitor("Polistes"), visitor("blowfly"))
    assert "cannot tell a wasp from a honey bee" in CAUTION


def test_length_keeps_out_house_flies_and_hornets() -> None:
    assert visitor("house fly").classes == {SizeClass.SMALL}
    assert visitor("hornet").classes == {SizeClass.LARGE}


def test_a_body_of_13_mm_may_be_a_wasp_a_bee_or_a_fly() -> None:
    names = [each.name for each in candidates(13.0, 0.0)]
    assert len(names) == 5
    assert names[0].startswith("European wasp")
    assert {"honey bee worker", "blowfly (Calliphoridae)"} < set(names)


def test_the_error_of_the_measurement_widens_the_choice() -> None:
    assert [each.name for each in candidates(9.0, 0.0)] == ["blowfly (Calliphoridae)"]
    assert candidates(9.0, 1.0)[0].is_target
    assert visitor("house fly") in candidates(9.0, 1.0)
    assert candidates(40.0, 1.0) == ()


def test_overlap_is_mutual_and_touching_counts() -> None:
    assert visitor("germanica").overlaps(visitor("honey bee"))
    assert visitor("Polistes").overlaps(visitor("hornet"))
    assert not visitor("germanica").overlaps(visitor("house fly"))
    assert all(a.overlaps(b) == b.overlaps(a) for a in VISITORS for b in VISITORS)


@given(st.floats(0.1, 60.0))
def test_a_candidate_may_have_the_class_of_the_body(length_mm: float) -> None:
    assert all(size_class(length_mm) in each.classes for each in candidates(length_mm, 0.0))


@pytest.mark.parametrize("wrong", [0.0, -1.0, math.nan, math.inf])
def test_what_is_no_length_is_refused(wrong: float) -> None:
    with pytest.raises(ValueError, match=rf"^length_mm must be a number above 0 mm, not {wrong}$"):
        candidates(wrong, 1.0)


def test_an_error_below_zero_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^error_mm must be a number from 0 mm up, not -1"):
        candidates(13.0, -1.0)
