"""A test that goes on until the counts tell two means apart: for steady traffic, and for wasps that come in bouts."""

import math
from dataclasses import dataclass

from swapbell_models.quantity import between, positive
from swapbell_models.scatter import check_k

# Our choice, as in the usual tables of the test: 5 % either way.
ALPHA = BETA = 0.05
# A test that errs as often as a coin is none.
_EVEN = 0.5


@dataclass(frozen=True, slots=True)
class WaldTest:
    """The sequential probability ratio test between two means of Poisson or negative binomial counts.

    Attributes
    ----------
    low, high
        The two means [visits per window], 0 < low < high.
    alpha, beta
        Chances of accepting `high` and `low` wrongly [1], 0 to 0.5, when a single test is begun at a moment that the
        counts did not choose.
    k
        Size of the negative binomial [1], above 0, the same at both means; infinite for Poisson.

    Raises
    ------
    ValueError
        If an argument is out of its range.

    Notes
    -----
    Wald (1945), Ann Math Stat 16:117-186; Wald (1947), Sequential Analysis: after n windows with a total of T visits
    accept `high` if T >= s n + h1, `low` if T <= s n - h0, and go on between.
    """

    low: float
    high: float
    alpha: float = ALPHA
    beta: float = BETA
    k: float = math.inf

    def __post_init__(self) -> None:
        """Refuse means that cannot be told apart, and risks that are no risks."""
        positive("low", self.low, "visits per window")
        between("high", self.high, self.low, math.inf)
        between("alpha", self.alpha, 0.0, _EVEN)
        between("beta", self.beta, 0.0, _EVEN)
        check_k(self.k)

    @property
    def slope(self) -> float:
        """Visits per window between the two lines, s."""
        return self._spread / self._per_visit

    @property
    def above(self) -> float:
        """How far the upper line lies above s n, h1 [visits]."""
        return math.log((1.0 - self.beta) / self.alpha) / self._per_visit

    @property
    def below(self) -> float:
        """How far the lower line lies below s n, h0 [visits]."""
        return math.log((1.0 - self.alpha) / self.beta) / self._per_visit

    def accepts_high_from(self, windows: int) -> int:
        """Return the smallest total that accepts the high mean after 1 or more `windows` [visits]."""
        return math.ceil(self.slope * windows + self.above)

    def accepts_low_to(self, windows: int) -> int | None:
        """Return the largest total that accepts the low mean after `windows` [visits]; nothing if none does yet."""
        total = math.floor(self.slope * windows - self.below)
        return total if total >= 0 else None

    @property
    def _spread(self) -> float:
        """What a window without any visit says for the low mean, as a logarithm of the ratio of likelihoods."""
        if math.isinf(self.k):
            return self.high - self.low
        return self.k * math.log((self.k + self.high) / (self.k + self.low))

    @property
    def _per_visit(self) -> float:
        """What each visit says for the high mean, as a logarithm of the ratio of likelihoods."""
        return math.log(self.high / self.low) - (0.0 if math.isinf(self.k) else self._spread / self.k)
