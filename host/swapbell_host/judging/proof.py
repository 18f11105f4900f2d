"""Whether a swap worked: that the traffic has collapsed, and that wasps come back. Quiet is not dead."""

from swapbell_host.judging.history import History, PastNotice
from swapbell_models.phase import Phase


def is_off(_past: PastNotice, history: History) -> bool:
    """Tell whether the station verifies no more."""
    return history.phase is not Phase.VERIFYING
