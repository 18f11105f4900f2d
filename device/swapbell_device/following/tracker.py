"""Which blob of one frame is which of the next: greedy, constant velocity, plain Python, no OpenCV."""

import math
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from itertools import count
from statistics import median

from swapbell_device.following import cast
from swapbell_device.following.clutter import Clutter
from swapbell_device.following.track import SEEN_MIN, Blob, Track
from swapbell_models.optics import Point

# A wasp flies at about 1 m/s near a station (general web pages on wasp speed); one quarter more is our choice.
FASTEST_MM_PER_S = 1250.0
# Our choice: what leaps between two frames must look the same: area and contrast within these factors.
LEAP_AREA, LEAP_CONTRAST = 2.5, 1.67
# Our choice: what a ratio of areas of e adds to a distance, in reaches.
UNLIKE_SHARE = 0.3
# Our choice: a track claims a blob if it should be in it, or this close to it in body lengths.
CLAIM_LENGTHS = 0.25
# Our choice: below this share of the largest claimant's area a claimant is a leg or an ant behind a wasp.
SWALLOWED_SHARE = 0.35
# Our choice: bodies in one blob hide a little of one another; a second one shows at least this share of itself.
OVERLAP_SHARE, SHOWING_SHARE = 0.9, 0.35
# Our choice: a blob this much larger than all its claimants is one body of which they were fragments.
GROWN_SHARE = 2.0
# Our choice: a blob this much wider than a claimant, or longer than any wasp, holds more than one body.
WIDER, LONGEST_MM = 1.5, 20.0
# Our choice: a blob this near to where a body should be, in its lengths, and of its area within this factor, is it.
PLAIN_LENGTHS, PLAIN_AREA = 0.25, 1.5
# Our choice: a small or weak blob this near is a leg, a wing or a shadow of a body already followed.
PART_AREA, PART_CONTRAST, PART_LENGTHS, PART_GAP_MM = 0.4, 0.5, 0.75, 1.5
# Our choice: a new blob this near to one that the image's edge cuts is another shred of the same body.
SHRED_MM = 3.0
# Our choice: this many proven bodies tell the usual area.
USUAL_BODIES = 25
# Our choice: in a shared blob bodies go on as before, and together heed where it is by this much a frame.
HEED_SHARE = 0.3

Reach = Callable[[Track, float], float]


class Tracker:
    """Follows every body through the frames; `step` takes one frame's blobs."""

    def __init__(self) -> None:
        self._tracks: list[Track] = []
        self._numbers = count(1)
        self._usual_mm2: deque[float] = deque(maxlen=USUAL_BODIES)
        self._clutter = Clutter()

    def step(self, blobs: Sequence[Blob], at_s: float) -> list[Track]:
        """Return the tracks that this frame shows; `at_s` must go forward."""
        kept = [track for track in self._tracks if at_s - track.seen_at_s <= track.patience_s]
        if len(kept) < len(self._tracks):
            self._clutter.lose([track for track in self._tracks if track not in kept], at_s)
            self._tracks = kept
        if not self._tracks and not blobs:
            return []
        if any(blob.parts for blob in blobs):
            blobs = [one for blob in blobs for one in (blob.parts if self._come_apart(blob, at_s) else (blob,))]
        unproven = [track for track in self._tracks if not track.proven]
        free = self._go_on(blobs, at_s)
        if free is None:
            free = self._divide(blobs, at_s)
            self._drop_parts(unproven)
            free = _match(self._tracks, free, at_s, Track.reach_mm)
            free = _match(self._tracks, free, at_s, _leap_mm)
        for track in self._tracks:
            track.missed += track.seen_at_s < at_s and not track.hidden
        self._usual_mm2.extend(track.area_mm2 for track in unproven if track.proven)
        shown = [track for track in self._tracks if track.seen_at_s == at_s]
        self._tell(shown, at_s)
        begun = [Track.of(next(self._numbers), b, at_s) for b in free if not _is_fragment(b, shown, blobs)]
        self._tracks.extend(begun)
        return shown + begun

    def _come_apart(self, blob: Blob, at_s: float) -> bool:
        """Tell whether a blob is its parts: the bodies that should be in it are too few, or just there."""
        if not blob.parts:
            return False
        spots = [track.ahead(at_s) for track in self._tracks if track.seen >= SEEN_MIN]
        near = [(x, y) for x, y in spots if blob.gap_mm(x, y) <= CLAIM_LENGTHS * blob.length_mm]
        return len(near) < len(blob.parts) or all(
            any(math.hypot(x - part.x_mm, y - part.y_mm) < PLAIN_LENGTHS * part.length_mm for x, y in near)
            for part in blob.parts
        )

    def _go_on(self, blobs: Sequence[Blob], at_s: float) -> list[Blob] | None:
        """Let tracks meet their blobs if all is plain: each finds one of its own size where it should be.

        Returns the blobs that are left, None if anything is not plain.
        """
        taken: dict[int, Track] = {}
        for track in self._tracks:
            i = _plainly(track, blobs, at_s)
            if i < 0 or i in taken:
                return None
            taken[i] = track
        for i, track in taken.items():
            track.alone, track.hidden = True, False
            track.meet(blobs[i], at_s)
        self._drop_parts([track for track in taken.values() if not track.proven])
        return [blob for i, blob in enumerate(blobs) if i not in taken]

    def _tell(self, shown: Sequence[Track], at_s: float) -> None:
        if self._clutter.tell(shown, at_s):
            cast.tell(shown)
        cast.tell_flying(shown)
        for track in shown:
            track.faint = track.contrast < self._clutter.faint
            track.margin = track.contrast / self._clutter.strength if self._clutter.strength else math.inf

    def _drop_parts(self, unproven: Sequence[Track]) -> None:
        for track in unproven:
            track.beside = any(_is_part(track.blob, other) for other in self._tracks if other is not track)
        self._tracks = [track for track in self._tracks if track.proven or not track.beside]

    def _divide(self, blobs: Sequence[Blob], at_s: float) -> list[Blob]:
        """Share each blob among the tracks in it, and return the blobs that are not shared."""
        free: list[Blob] = []
        for blob, claims in zip(blobs, self._claims(blobs, at_s), strict=True):
            kept = claims if len(claims) < 2 else self._room(blob, claims)  # noqa: PLR2004  (one alone needs no room)
            for track in claims:
                track.hidden = track not in kept
            if len(kept) > 1:
                _share(blob, kept, at_s)
            else:
                free.append(blob)
        self._tracks = [track for track in self._tracks if track.proven or not track.hidden]
        return free

    def _claims(self, blobs: Sequence[Blob], at_s: float) -> list[list[Track]]:
        claims: list[list[Track]] = [[] for _ in blobs]
        for track in self._tracks:
            track.alone, track.hidden = True, False
            if track.seen >= SEEN_MIN:
                gap_mm, nearest = _nearest(blobs, track.ahead(at_s))
                if gap_mm <= CLAIM_LENGTHS * track.length_mm:
                    claims[nearest].append(track)
        return claims

    def _room(self, blob: Blob, claims: Sequence[Track]) -> list[Track]:
        """Return the tracks that a blob has room for: one, unless it is large enough for more."""
        if blob.area_mm2 > GROWN_SHARE * sum(track.area_mm2 for track in claims):
            return sorted(claims, key=lambda track: track.seen, reverse=True)[:1]
        least_mm2 = SWALLOWED_SHARE * max(track.area_mm2 for track in claims)
        kept: list[Track] = []
        held_mm2 = 0.0
        for track in sorted(claims, key=lambda track: (track.proven, track.seen), reverse=True):
            area_mm2 = self._area_mm2(track, blob)
            room = blob.area_mm2 >= OVERLAP_SHARE * held_mm2 + SHOWING_SHARE * area_mm2
            if track.area_mm2 >= least_mm2 and (room or not kept):
                kept.append(track)
                held_mm2 += area_mm2
        return kept

    def _area_mm2(self, track: Track, blob: Blob) -> float:
        """Return a track's area; one that is not proven may be a fragment of a usual body."""
        if track.proven or blob.width_mm > WIDER * track.width_mm or blob.length_mm > LONGEST_MM:
            return track.area_mm2
        return max(median(self._usual_mm2) if self._usual_mm2 else blob.area_mm2, track.area_mm2)


def _plainly(track: Track, blobs: Sequence[Blob], at_s: float) -> int:
    """Return which blob is plainly a track's, -1 if none is; it is most often the one that was it before."""
    if track.seen < SEEN_MIN:
        return -1
    x, y = track.ahead(at_s)
    reach = PLAIN_LENGTHS * track.length_mm
    least, most = track.area_mm2 / PLAIN_AREA, track.area_mm2 * PLAIN_AREA
    for i in (track.place, *range(len(blobs))) if track.place < len(blobs) else range(len(blobs)):
        blob = blobs[i]
        if abs(blob.x_mm - x) < reach and abs(blob.y_mm - y) < reach and least < blob.area_mm2 < most:
            track.place = i
            return i
    return -1


def _nearest(blobs: Sequence[Blob], point: Point) -> tuple[float, int]:
    """Return the gap to the blob nearest to a point, and its index."""
    x, y = point
    best = (math.inf, -1)
    for i, blob in enumerate(blobs):
        if abs(blob.x_mm - x) + abs(blob.y_mm - y) < blob.length_mm + LONGEST_MM:
            best = min(best, (blob.gap_mm(x, y), i))
    return best


def _match(tracks: Sequence[Track], blobs: Sequence[Blob], at_s: float, reach: Reach) -> list[Blob]:
    """Let unseen tracks and blobs meet, the best pair first; return the blobs that are left."""
    taken: set[int] = set()
    for _, track, i in sorted(_pairs(tracks, blobs, at_s, reach), key=lambda pair: pair[0]):
        if track.seen_at_s < at_s and i not in taken:
            track.meet(blobs[i], at_s)
            taken.add(i)
    return [blob for i, blob in enumerate(blobs) if i not in taken] if taken else list(blobs)


def _pairs(
    tracks: Sequence[Track], blobs: Sequence[Blob], at_s: float, reach: Reach
) -> Iterator[tuple[float, Track, int]]:
    for track in tracks:
        if track.seen_at_s >= at_s or (limit_mm := reach(track, at_s)) <= 0.0:
            continue
        x, y = track.ahead(at_s)
        for i, blob in enumerate(blobs):
            off_mm = math.hypot(blob.x_mm - x, blob.y_mm - y)
            if off_mm <= limit_mm and (track.seen > 1 or _is_like(blob, track)):
                yield off_mm / limit_mm + UNLIKE_SHARE * abs(math.log(blob.area_mm2 / track.area_mm2)), track, i


def _leap_mm(track: Track, at_s: float) -> float:
    """Return how far a body seen only once may have flown [mm]."""
    return FASTEST_MM_PER_S * (at_s - track.seen_at_s) if track.seen == 1 else 0.0


def _is_like(blob: Blob, track: Track) -> bool:
    area = blob.area_mm2 / track.area_mm2
    contrast = blob.contrast / track.contrast if blob.contrast and track.contrast else 1.0
    return max(area, 1.0 / area) < LEAP_AREA and max(contrast, 1.0 / contrast) < LEAP_CONTRAST


def _is_fragment(blob: Blob, shown: Sequence[Track], blobs: Sequence[Blob]) -> bool:
    return any(_is_part(blob, track) for track in shown) or any(_is_shred(blob, other) for other in blobs)


def _is_part(blob: Blob, track: Track) -> bool:
    """Tell whether a blob is a leg, a wing or a shadow of a body."""
    near_mm = PART_LENGTHS * track.length_mm + 0.5 * blob.length_mm
    if math.hypot(blob.x_mm - track.x_mm, blob.y_mm - track.y_mm) > near_mm:
        return False
    if 0.0 < blob.contrast < PART_CONTRAST * track.contrast:
        return True
    gap_mm = track.blob.gap_mm(blob.x_mm, blob.y_mm)
    return blob.area_mm2 < PART_AREA * track.area_mm2 and gap_mm < 0.5 * blob.length_mm + PART_GAP_MM


def _is_shred(blob: Blob, other: Blob) -> bool:
    if other is blob or other.whole or blob.area_mm2 > other.area_mm2:
        return False
    return other.gap_mm(blob.x_mm, blob.y_mm) < 0.5 * blob.length_mm + SHRED_MM


def _share(blob: Blob, tracks: Sequence[Track], at_s: float) -> None:
    """Let tracks go on within one blob, and shift them together so that their middle is the blob's."""
    ahead = [track.ahead(at_s) for track in tracks]
    total_mm2 = sum(track.area_mm2 for track in tracks)
    x = sum(track.area_mm2 * spot[0] for track, spot in zip(tracks, ahead, strict=True)) / total_mm2
    y = sum(track.area_mm2 * spot[1] for track, spot in zip(tracks, ahead, strict=True)) / total_mm2
    dx, dy = HEED_SHARE * (blob.x_mm - x), HEED_SHARE * (blob.y_mm - y)
    for track, spot in zip(tracks, ahead, strict=True):
        track.alone = False
        track.go_on(spot[0] + dx, spot[1] + dy, at_s)
