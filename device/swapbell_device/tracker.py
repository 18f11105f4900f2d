"""Which blob of one frame is which of the next: greedy, constant velocity, plain Python, no OpenCV."""

import math
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from statistics import median

from swapbell_device.track import SEEN_MIN, Blob, Track
from swapbell_models.optics import Point

# A wasp flies at about 1 m/s near a station (general web pages on wasp speed); one quarter more is our choice.
FASTEST_MM_PER_S = 1250.0
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
# Our choice: a new blob this small and near is a leg, a wing's edge or a shadow's of a body already followed.
PART_SHARE, PART_LENGTHS = 0.4, 0.75
# Our choice: a new blob this near to one that the image's edge cuts is another shred of the same body.
SHRED_MM = 3.0
# Our choice: this many proven bodies tell the usual area.
USUAL_BODIES = 25
# Our choice: in a shared blob a body goes on as before and heeds its part of the rim only this much a frame.
HEED_SHARE = 0.3

Reach = Callable[[Track, float], float]


class Tracker:
    """Follows every body through the frames; `step` takes one frame's blobs."""

    def __init__(self) -> None:
        self._tracks: list[Track] = []
        self._number = 0
        self._usual_mm2: deque[float] = deque(maxlen=USUAL_BODIES)

    def step(self, blobs: Sequence[Blob], at_s: float) -> list[Track]:
        """Return the tracks that this frame shows; `at_s` must go forward."""
        self._tracks = [track for track in self._tracks if at_s - track.seen_at_s <= track.patience_s]
        proven = {track.number for track in self._tracks if track.proven}
        free = self._divide(blobs, at_s)
        free = _match(self._tracks, free, at_s, Track.reach_mm)
        free = _match(self._tracks, free, at_s, _leap_mm)
        shown = [track for track in self._tracks if track.seen_at_s == at_s]
        self._usual_mm2.extend(t.area_mm2 for t in shown if t.proven and t.number not in proven)
        shown.extend(self._begin(blob, at_s) for blob in free if not _is_fragment(blob, shown, blobs))
        return shown

    def forget(self) -> None:
        """Drop every track: what comes next has nothing to do with what was."""
        self._tracks.clear()

    def _divide(self, blobs: Sequence[Blob], at_s: float) -> list[Blob]:
        """Share each blob among the tracks in it, and return the blobs that are not shared."""
        free: list[Blob] = []
        for blob, claims in zip(blobs, self._claims(blobs, at_s), strict=True):
            kept = self._room(blob, claims)
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
        if track.proven:
            return track.area_mm2
        return max(median(self._usual_mm2) if self._usual_mm2 else blob.area_mm2, track.area_mm2)

    def _begin(self, blob: Blob, at_s: float) -> Track:
        self._number += 1
        lengths_mm = [blob.length_mm] if blob.whole else []
        began_mm = (blob.x_mm, blob.y_mm)
        track = Track(self._number, blob.x_mm, blob.y_mm, at_s, blob.area_mm2, began_mm, lengths_mm)
        self._tracks.append(track)
        return track


def _nearest(blobs: Sequence[Blob], point: Point) -> tuple[float, int]:
    x, y = point
    near = (
        (blob.gap_mm(x, y), i)
        for i, blob in enumerate(blobs)
        if math.hypot(blob.x_mm - x, blob.y_mm - y) < blob.length_mm + 5.0
    )
    return min(near, default=(math.inf, -1))


def _match(tracks: Sequence[Track], blobs: Sequence[Blob], at_s: float, reach: Reach) -> list[Blob]:
    """Let unseen tracks and blobs meet, the best pair first; return the blobs that are left."""
    taken: set[int] = set()
    for _, track, i in sorted(_pairs(tracks, blobs, at_s, reach), key=lambda pair: pair[0]):
        if track.seen_at_s < at_s and i not in taken:
            track.meet(blobs[i], at_s)
            taken.add(i)
    return [blob for i, blob in enumerate(blobs) if i not in taken]


def _pairs(
    tracks: Sequence[Track], blobs: Sequence[Blob], at_s: float, reach: Reach
) -> Iterator[tuple[float, Track, int]]:
    for track in tracks:
        if track.seen_at_s >= at_s or (limit_mm := reach(track, at_s)) <= 0.0:
            continue
        x, y = track.ahead(at_s)
        for i, blob in enumerate(blobs):
            off_mm = math.hypot(blob.x_mm - x, blob.y_mm - y)
            if off_mm <= limit_mm:
                yield off_mm / limit_mm + UNLIKE_SHARE * abs(math.log(blob.area_mm2 / track.area_mm2)), track, i


def _leap_mm(track: Track, at_s: float) -> float:
    """Return how far a body seen only once may have flown [mm]."""
    return FASTEST_MM_PER_S * (at_s - track.seen_at_s) if track.seen == 1 else 0.0


def _is_fragment(blob: Blob, shown: Sequence[Track], blobs: Sequence[Blob]) -> bool:
    return any(_is_part(blob, track) for track in shown) or any(_is_shred(blob, other) for other in blobs)


def _is_part(blob: Blob, track: Track) -> bool:
    off_mm = math.hypot(blob.x_mm - track.x_mm, blob.y_mm - track.y_mm)
    near = off_mm < PART_LENGTHS * track.length_mm + 0.5 * blob.length_mm
    return near and blob.area_mm2 < PART_SHARE * track.area_mm2


def _is_shred(blob: Blob, other: Blob) -> bool:
    if other is blob or other.whole or blob.area_mm2 > other.area_mm2:
        return False
    return other.gap_mm(blob.x_mm, blob.y_mm) < 0.5 * blob.length_mm + SHRED_MM


def _share(blob: Blob, tracks: Sequence[Track], at_s: float) -> None:
    """Divide a blob among tracks: each takes the rim that is nearest to where it should be."""
    centres = [track.ahead(at_s) for track in tracks]
    groups: list[list[Point]] = [[] for _ in centres]
    for point in blob.rim_mm:
        away = [math.dist(point, centre) for centre in centres]
        groups[away.index(min(away))].append(point)
    for track, centre, group in zip(tracks, centres, groups, strict=True):
        x, y = _middle(group) if group else centre
        track.alone = False
        track.go_on(centre[0] + HEED_SHARE * (x - centre[0]), centre[1] + HEED_SHARE * (y - centre[1]), at_s)


def _middle(points: Sequence[Point]) -> Point:
    return sum(x for x, _ in points) / len(points), sum(y for _, y in points) / len(points)
