"""The phases of a station's job, from the plan to the close."""

from enum import Enum


class Phase(Enum):
    """Where a station stands in its job."""

    PLANNED = "planned"
    LURING = "luring"
    TOXIC = "toxic"
    WITHDRAWN = "withdrawn"
    VERIFYING = "verifying"
    CLOSED = "closed"
