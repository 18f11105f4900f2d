"""An answer says each figure with its source, warnings first and cautions always, to a person and to a script."""

import json

from swapbell_host.trade.answer import WIDTH_MAX, WIDTH_MIN, Answer, Figure, as_json, as_text

ANSWER = Answer(
    (
        Figure("mass", "mass", "85 g of it", "a scale", 85.0, "g"),
        Figure("depth", "how deep", "nobody knows", "a scale"),
        Figure("far", "far", "to infinity", "a lens", float("inf"), "mm"),
    ),
    warnings=("it leaks",),
    checks=("it is closed",),
    cautions=("wear gloves", "keep dogs away"),
)


def test_a_person_reads_warnings_then_figures_then_the_rest() -> None:
    assert as_text(ANSWER, None) == (
        "LOOK OUT: it leaks\n\n"
        "mass      85 g of it\nhow deep  nobody knows\nfar       to infinity\n\n"
        "A second person checks, before anything is mixed:\n- it is closed\n\n"
        "Cautions:\n- wear gloves\n- keep dogs away\n\n"
        "Sources:\n- mass, how deep: a scale\n- far: a lens"
    )


def test_what_there_is_none_of_takes_no_room() -> None:
    assert as_text(Answer(ANSWER.figures[:1]), None) == "mass  85 g of it\n\nSources:\n- mass: a scale"


def test_figures_of_one_label_and_source_are_named_once() -> None:
    twice = Answer(ANSWER.figures[:1] * 2)
    assert as_text(twice, None).endswith("Sources:\n- mass: a scale")


def test_lines_are_broken_between_words_for_a_terminal_and_hang_under_their_figure() -> None:
    long = Answer((Figure("x", "label", "word " * 30, "a source"),))
    first, second, *_ = as_text(long, 40).splitlines()
    assert first.startswith("label  word word")
    assert second.startswith("       word word")
    assert all(len(line) <= 40 for line in as_text(long, 40).splitlines())


def test_a_wide_terminal_does_not_make_lines_that_nobody_can_read() -> None:
    long = Answer((Figure("x", "label", "word " * 100, "a source"),))
    assert max(len(line) for line in as_text(long, 400).splitlines()) <= WIDTH_MAX


def test_a_terminal_too_narrow_for_words_does_not_break_them() -> None:
    long = Answer((Figure("x", "label", "word " * 30, "a source"),))
    assert as_text(long, 5) == as_text(long, WIDTH_MIN)


def test_a_script_reads_values_units_words_and_sources_by_key() -> None:
    told = json.loads(as_json(ANSWER))
    assert told["figures"]["mass"] == {"value": 85.0, "unit": "g", "words": "85 g of it", "source": "a scale"}
    assert (told["warnings"], told["checks"]) == (["it leaks"], ["it is closed"])
    assert told["cautions"] == ["wear gloves", "keep dogs away"]


def test_what_cannot_be_said_is_null_to_a_script() -> None:
    figures = json.loads(as_json(ANSWER))["figures"]
    assert (figures["depth"]["value"], figures["far"]["value"]) == (None, None)
