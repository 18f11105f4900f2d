"""What one look at the view found, whether one can count at such a view, and what a tally says of its looks. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean

from msgspec import UNSET, UnsetType
from msgspec.structs import replace

from swapbell_models.focus import Focus, focus
from swapbell_models.tally import Hindrance, Sight

# Drawn walkers, darker than their board, on boards of 2 to 110 grey levels: all found at 9, none at 6.
LIGHT_MIN_LEVELS = 8.0
# Our choice: in the dark, parts of the view that differ by more than noise are lit well enough to show a body.
LIT_DETAIL_LEVELS = 1.0
# Our choice: there even the darkest corner of the view is white, and no body could be darker.
LIGHT_MAX_LEVELS = 254.0
# Our choice: drawn boards, from behind dew and in dusk too, show twice as much or more; a covered lens shows nothing.
DETAIL_MIN_LEVELS = 0.1
# Drawn walkers on boards of 54 and 77 grey levels: all found at 14, half of them at 22, none at 32.
NOISE_MAX_LEVELS = 20.0
# Drawn walkers before a swinging camera: nearly all found while it moved by up to 4 mm, half of them at 8 mm, and
# from look to look swings of 8 mm are seen as 2.5 mm and more, time and again.
SHAKE_MAX_MM = 2.5
# Our choice, that of the veto: more than this share of the view does not change by insects.
MOVING_MAX = 0.35
# Our choice: with half of its frames the counter sees a flying wasp half as often as it needs to follow it.
DROPPED_MAX = 0.5
# Our choice: wind and hands come in bouts, so that one good look, ten seconds later, may lie between two of them.
HOLD_S = 11.0
# Those of which a tally tells the mean; our choice: more digits than they are worth.
FIGURES = ("light", "detail", "noise", "shake_mm", "moving")
DIGITS = 2


@dataclass(frozen=True, slots=True)
class Look:
    """What one look found; its figures are those of `tally.Sight`.

    Attributes
    ----------
    at_s
        When it was taken [s].
    dropped, came
        Frames that did not come since the look before, and those that did.
    sharpness
        How many edges lie side by side across a worker's body; nothing where nobody can tell (`sharpness.sharpness`).
    exposure_s
        How long the picture was exposed [s], where the camera tells.
    """

    at_s: float
    light: float
    detail: float
    noise: float
    shake_mm: float
    moving: float
    dropped: int = 0
    came: int = 1
    sharpness: float | None = None
    exposure_s: float | None = None

    @property
    def hindrance(self) -> Hindrance | None:
        """What makes counting impossible; of several the first in this order, which goes from cause to effect."""
        beyond = {
            Hindrance.LIGHT: self.light > LIGHT_MAX_LEVELS or self._is_dark(),
            Hindrance.NOISE: self.noise > NOISE_MAX_LEVELS,
            Hindrance.DETAIL: self.detail < DETAIL_MIN_LEVELS or self._is_blurred(),
            Hindrance.SHAKE: self.shake_mm > SHAKE_MAX_MM,
            Hindrance.MOVING: self.moving > MOVING_MAX,
            Hindrance.DROPPED: self.dropped > DROPPED_MAX * (self.dropped + self.came),
        }
        return next((each for each, holds in beyond.items() if holds), None)

    def _is_blurred(self) -> bool:
        return self.sharpness is not None and focus(self.sharpness) is Focus.BLURRED

    def _is_dark(self) -> bool:
        return self.light < LIGHT_MIN_LEVELS and self.detail < LIT_DETAIL_LEVELS


class Attention:
    """Whether one can count now, by the looks so far: a hindrance holds until looks have been good for `HOLD_S`."""

    def __init__(self) -> None:
        self.hindrance: Hindrance | None = None
        self._until_s = 0.0

    def note(self, look: Look) -> None:
        """Take a look; what it finds holds from its moment on."""
        if found := look.hindrance:
            self.hindrance, self._until_s = found, look.at_s + HOLD_S
        elif look.at_s >= self._until_s:
            self.hindrance = None


def sight(looks: Sequence[Look], blind_s: Mapping[Hindrance, float]) -> Sight | UnsetType:
    """Return what a tally says of its looks, and of what kept it from counting for how long [s]."""
    if not looks and not blind_s:
        return UNSET
    worst = max(blind_s, key=blind_s.__getitem__, default=None)
    told = Sight(blind_s=round(sum(blind_s.values()), DIGITS), hindrance=worst)
    if not looks:
        return told
    means = {name: round(fmean(getattr(look, name) for look in looks), DIGITS) for name in FIGURES}
    return replace(told, dropped=sum(look.dropped for look in looks), **means)
