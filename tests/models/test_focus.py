"""What a sharpness means."""

import pytest

from swapbell_models.focus import Focus, focus, focus_words


@pytest.mark.parametrize(
    ("sharpness", "expected"),
    [(0.1, Focus.BLURRED), (0.99, Focus.BLURRED), (1.0, Focus.SOFT), (2.99, Focus.SOFT), (3.0, Focus.SHARP)],
)
def test_a_view_is_sharp_where_three_edges_fit_across_a_body(sharpness: float, expected: Focus) -> None:
    assert focus(sharpness) is expected


def test_a_sharpness_is_told_as_the_width_of_an_edge() -> None:
    assert focus_words(2.0) == "a little out of focus: an edge is 2.0 mm wide"
