"""How items of evidence are named, and which of them are asked for."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_models.evidence import Label, Passing, Seek, is_item, label
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Direction

NOON_AT = datetime(2026, 2, 3, 12, 0, tzinfo=UTC)
CLIP = Label(42, "north", "b1", 75.25, NOON_AT)
STRIP = Label(43, "north", "b1", 90.0, None, Passing(7, Direction.IN, SizeClass.WASP, 13.6))

NAMES = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9_-]{0,62}", fullmatch=True)
MOMENTS = st.integers(0, 2 * 10**9).map(lambda seconds: NOON_AT + timedelta(seconds=seconds))
PASSINGS = st.builds(
    Passing,
    st.integers(1, 10**7),
    st.sampled_from(Direction),
    st.sampled_from(SizeClass),
    st.integers(1, 999).map(lambda tenths: float(f"{tenths // 10}.{tenths % 10}")),
)
LABELS = st.builds(
    Label,
    st.integers(0, 10**9),
    NAMES,
    NAMES,
    st.integers(0, 10**10).map(lambda ms: ms * 1e-3),
    st.none() | MOMENTS,
    st.none() | PASSINGS,
)


def test_a_name_reads_as_the_pages_show_it() -> None:
    assert CLIP.name == "00000042.clip.north.b1.75250ms.20260203T120000Z"
    assert STRIP.name == "00000043.strip.north.b1.90000ms.free.7.in.wasp.13-6mm"


@given(LABELS)
def test_what_a_name_says_is_read_back(told: Label) -> None:
    assert label(told.name) == told


@given(st.text(max_size=80))
def test_what_is_no_name_of_an_item_is_refused_as_that(text: str) -> None:
    assert not is_item(text)
    with pytest.raises(ValueError, match="no name of an item"):
        label(text)


@pytest.mark.parametrize(
    "name",
    [
        f"{CLIP.name}.7.in.wasp.13-6mm",
        STRIP.name.removesuffix(".7.in.wasp.13-6mm"),
        f".{CLIP.name}.part",
        CLIP.name.replace("T12", "T25"),
    ],
)
def test_half_a_name_or_another_kind_s_is_none(name: str) -> None:
    assert not is_item(name)


def test_items_are_sought_beyond_an_order_and_within_a_time() -> None:
    later = NOON_AT + timedelta(hours=1)
    assert Seek(after=41, from_at=NOON_AT, to_at=later).wants(CLIP)
    assert not Seek(after=42).wants(CLIP)
    assert not Seek(from_at=later).wants(CLIP)
    assert not Seek(to_at=NOON_AT).wants(CLIP)


def test_an_item_of_unknown_time_is_never_left_out_for_its_time() -> None:
    assert Seek(from_at=NOON_AT, to_at=NOON_AT + timedelta(hours=1)).wants(STRIP)
    assert not Seek(after=43).wants(STRIP)
