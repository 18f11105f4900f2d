"""Who may look at the page, and who may work with it."""

from dataclasses import dataclass
from enum import Enum

from swapbell_host.jobs.plan import line, shown


class Right(Enum):
    """What an account may do: see everything, or also log, plan and acknowledge."""

    VIEW = "view"
    WORK = "work"

    def covers(self, asked: "Right") -> bool:
        """Tell whether whoever has this right has the asked one too."""
        return self is Right.WORK or asked is Right.VIEW


@dataclass(frozen=True, slots=True)
class Account:
    """Somebody who can sign in.

    Attributes
    ----------
    name
        The person's name, as it stands in the service log.
    """

    name: str
    right: Right

    def __post_init__(self) -> None:
        """Refuse what cannot be an account."""
        line("login", self.name)


def right(word: str) -> Right:
    """Return the right of that name, or refuse it."""
    if word not in {each.value for each in Right}:
        raise ValueError(f"right must be {' or '.join(each.value for each in Right)}, not {shown(word)}")
    return Right(word)
