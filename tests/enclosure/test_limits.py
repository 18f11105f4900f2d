import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_enclosure.limits import Finding, check
from swapbell_enclosure.parameters import Parameters, parse_parameters


def broken(text: str) -> list[Finding]:
    return [finding for finding in check(parse_parameters(text, "lane.toml")) if not finding.kept]


def test_the_default_design_keeps_every_limit() -> None:
    assert [finding for finding in check(Parameters()) if not finding.kept] == []


# Common practice, no source: at least 12 mm.
@given(st.floats(min_value=0.1, max_value=11.99))
def test_a_hole_below_twelve_is_always_refused(hole_mm: float) -> None:
    assert "hole" in {finding.subject for finding in broken(f"[opening]\nhole_mm = {hole_mm!r}")}


@pytest.mark.parametrize("key", ["width_mm", "height_mm"])
def test_a_lane_below_twelve_is_refused(key: str) -> None:
    assert "hole" in {finding.subject for finding in broken(f"[lane]\n{key} = 11.9")}


# The permit method on file asks for 23 mm (AWRI, 13 February 2019).
def test_the_default_lane_is_wide_enough_for_the_permit_method() -> None:
    assert broken("[opening]\nhole_mm = 23") == []


def test_a_hole_that_must_be_clear_all_the_way_needs_a_high_lane() -> None:
    text = "[opening]\nhole_mm = 23\n[lane]\nsingle_layer = false\nheight_mm = "
    assert [finding.subject for finding in broken(text + "12.5")] == ["hole"]
    assert broken(text + "23") == []


def test_a_lane_in_which_one_could_walk_above_another_is_refused() -> None:
    assert [finding.subject for finding in broken("[lane]\nheight_mm = 14")] == ["single layer"]


REFUSED = [
    ("[housing]\nwall_mm = 1.5", "wall"),
    ("[housing]\nwall_mm = 6", "wall"),
    ("[housing]\noverhang_mm = 2", "rain"),
    ("[housing]\nlip_mm = 60", "rain"),
    ("[housing]\ngland_mm = 30", "cable gland"),
    ("[lane]\nwindow_mm = 0.2", "sheet"),
    ("[camera]\ndistance_mm = 90", "nearest focus"),
    ("[camera]\ndistance_mm = 200", "body length"),
    ("[camera]\nnearest_mm = 20\ndistance_mm = 50", "field along the lane"),
    ("[camera]\nmodule = 'imx708_wide'\ndistance_mm = 55\n[lane]\nwidth_mm = 70", "field across the lane"),
    ("[camera]\ndistance_mm = 3", "lens"),
    ("[camera]\nfocal_mm = 500", "lens"),
    ("[camera]\nf_number = 0.2", "depth of field"),
    ("[camera]\nholes_mm = [21, 4]", "camera"),
    ("[board]\nholes_mm = [64, 23]", "board"),
    ("[station]\npot_mm = 50", "station"),
    ("[station]\ntub_mm = 50", "station"),
    ("[station]\ntins_mm = 50", "station"),
    ("[printer]\nbed_mm = [120, 120]", "printer bed"),
]


@pytest.mark.parametrize(("text", "subject"), REFUSED)
def test_what_cannot_be_is_refused_with_its_subject(text: str, subject: str) -> None:
    assert subject in {finding.subject for finding in broken(text)}


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("[opening]\nhole_mm = 8", "hole_mm"),
        ("[housing]\nwall_mm = 1.2", "wall_mm"),
        ("[housing]\nlip_mm = 60", "lip_mm"),
        ("[camera]\ndistance_mm = 90", "distance_mm"),
        ("[camera]\ndistance_mm = 200", "distance_mm"),
        ("[station]\npot_mm = 50", "pot_mm"),
    ],
)
def test_the_way_out_keeps_the_limit(text: str, key: str) -> None:
    first = broken(text)[0]
    remedy = re.search(r"make (?:it|[\w.]+) at (?:least|most) ([\d.]+) mm", first.way_out or "")
    assert remedy
    put_right = re.sub(rf"{key} = [\d.]+", f"{key} = {remedy[1]}", text)
    assert first.subject not in {finding.subject for finding in broken(put_right)}
