"""One address of the page: what answers it, and who may ask."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from swapbell_host.jobs.account import Right
from swapbell_host.page.visit import Answer, Visit

Handler = Callable[[Visit], Answer]


@dataclass(frozen=True, slots=True)
class Door:
    """One address of the page.

    Attributes
    ----------
    path
        In Starlette's form: ``/station/{site}/{station}``.
    handler
        What answers; all that are not slow run in one thread, one at a time.
    right
        Who may ask; nothing where whoever comes may, as for signing in.
    method
        GET to read, POST for what a form changes.
    slow
        Whether it may take so long that others should not wait for it: slow ones wait for each other.
    """

    path: str
    handler: Handler
    right: Right | None = Right.VIEW
    method: Literal["GET", "POST"] = "GET"
    slow: bool = False

    def __post_init__(self) -> None:
        """Refuse a form that somebody could send who may only look."""
        if self.method == "POST" and self.right is Right.VIEW:
            raise ValueError(f"a form needs the right to work, but {self.path} is open to view")
