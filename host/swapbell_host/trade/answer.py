"""An answer to a question of the trade: each figure with its unit and source, and the cautions that go along."""

import textwrap
from collections.abc import Iterator
from dataclasses import dataclass, field

import msgspec

# Our choice: room for a few words beside a label; and lines that a person reads without losing the next one.
WIDTH_MIN, WIDTH_MAX = 40, 110


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of an answer.

    Attributes
    ----------
    key
        Its name for scripts.
    label, words
        What it is, and how it is said to a person, with its unit.
    source
        Where it comes from.
    value, unit
        The bare value for scripts; nothing where it cannot be said.
    """

    key: str
    label: str
    words: str
    source: str
    value: object = None
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Answer:
    """All that is said to one question.

    Attributes
    ----------
    figures
        In the order in which a person needs them.
    warnings
        What looks wrong; said first.
    checks
        What a second person reads aloud before anything is done.
    cautions
        What holds every time.
    """

    figures: tuple[Figure, ...]
    warnings: tuple[str, ...] = ()
    checks: tuple[str, ...] = ()
    cautions: tuple[str, ...] = field(default=(), kw_only=True)


def as_text(answer: Answer, width: int | None) -> str:
    """Return an answer for a person.

    Parameters
    ----------
    answer : Answer
        What is said.
    width : int, optional
        Columns of the terminal; lines are not broken if not said.
    """
    margin = max((len(each.label) for each in answer.figures), default=0) + 2
    lines = [_hung(f"{each.label:<{margin}}", each.words, width) for each in answer.figures]
    warned = [_hung("LOOK OUT: ", each, width) for each in answer.warnings]
    blocks = [warned, lines, *(_list(title, items, width) for title, items in _lists(answer))]
    return "\n\n".join("\n".join(block) for block in blocks if block)


def _lists(answer: Answer) -> Iterator[tuple[str, tuple[str, ...]]]:
    yield "A second person checks, before anything is mixed:", answer.checks
    yield "Cautions:", answer.cautions
    yield "Sources:", tuple(f"{', '.join(labels)}: {source}" for source, labels in by_source(answer).items())


def by_source(answer: Answer) -> dict[str, list[str]]:
    """Return the labels of the figures by where these come from."""
    found: dict[str, list[str]] = {}
    for each in answer.figures:
        labels = found.setdefault(each.source, [])
        if each.label not in labels:
            labels.append(each.label)
    return found


def _list(title: str, items: tuple[str, ...], width: int | None) -> list[str]:
    return [title, *(_hung("- ", each, width) for each in items)] if items else []


def _hung(head: str, words: str, width: int | None) -> str:
    if width is None:
        return f"{head}{words}"
    return textwrap.fill(
        words,
        min(max(width, WIDTH_MIN), WIDTH_MAX),
        initial_indent=head,
        subsequent_indent=" " * len(head),
        break_on_hyphens=False,
    )


def as_json(answer: Answer) -> str:
    """Return an answer for a script: one object, figures by their keys; what cannot be said is null."""
    figures = {
        each.key: {"value": each.value, "unit": each.unit, "words": each.words, "source": each.source}
        for each in answer.figures
    }
    told = {
        "figures": figures,
        "warnings": answer.warnings,
        "checks": answer.checks,
        "cautions": answer.cautions,
    }
    return msgspec.json.encode(told).decode("utf-8")
