"""What the working pages' forms have in common: what was typed, details of records, what a refusal speaks of."""

from collections.abc import Mapping

from swapbell_host.page.visit import Visit

Typed = dict[str, str]
# What a detail that a record asks for is called in a form.
DETAIL = "detail-"
# Numbers of entries are of 64 bits.
DIGITS_MAX = 18


def typed(visit: Visit) -> Typed:
    """Return what was typed into the fields of a form, with the line ends of a text."""
    return {name: text.strip().replace("\r\n", "\n") for name, text in visit.form.items()}


def details(fields: Mapping[str, str]) -> Typed:
    """Return the details that were typed, by their names."""
    return {name.removeprefix(DETAIL): text for name, text in fields.items() if name.startswith(DETAIL)}


def as_typed(said: Mapping[str, str]) -> Typed:
    """Return details as they would be typed."""
    return {DETAIL + name: text for name, text in said.items()}


def trouble(refusal: str, speaks_of: Mapping[str, str]) -> Typed:
    """Return a refusal by the field that it speaks of.

    Parameters
    ----------
    speaks_of : mapping
        The field of a refusal's first word, where it is not the field's own name.
    """
    word = refusal.partition(" ")[0].rstrip(":")
    return {speaks_of.get(word, word): refusal} if refusal else {}


def number(text: str) -> int | None:
    """Return the whole number of a text; nothing where it is none."""
    return int(text) if text.isascii() and text.isdigit() and len(text) <= DIGITS_MAX else None
