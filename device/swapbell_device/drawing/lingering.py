"""What bodies do beside going in and out: turn back, walk along the line, stray, groom in the gate, rest."""

from swapbell_device.drawing.behaviour import CLEAR_BODIES, WALK_MM_PER_S, Place, Rng
from swapbell_device.drawing.way import STANDING_MM_PER_S, Leg, Point, Way, follow

# Our choice: a feint stays clearly within the margin: from the head just over the line to the centre just past it.
FEINT_BODIES = (-0.4, 0.3)
# Our choice: a body that walks along the line keeps to this side of it, or walks on the line itself.
ALONG_BODIES = (-1.1, 0.25)
# Our choice: where bodies stray and rest, outside.
STRAY_BODIES = (-4.0, -0.9)
REST_BODIES = (-2.6, -1.0)
# Our choice: a body that grooms in the gate has its centre so near the line, on either side, and shifts by so much.
# Not on the line itself: which of a hundred tiny passages is the last, no camera can tell.
GROOM_BODIES = (0.15, 0.3)
GROOM_SHIFT_MM = 0.8


def feint(place: Place, length_mm: float, from_outside: bool, rng: Rng) -> Way:
    """Return the way of a body that puts its head or more over the line, turns and goes back."""
    side = 1 if from_outside else -1
    aside, speed = place.aside(rng), float(rng.uniform(*WALK_MM_PER_S))
    near = place.opening.point(-side * 1.3 * length_mm, aside)
    deepest = place.opening.point(side * float(rng.uniform(*FEINT_BODIES)) * length_mm, aside)
    legs = [Leg(near, speed), Leg(deepest, speed, float(rng.uniform(0.1, 0.8))), Leg(near, speed)]
    return _roam(place, legs, -side, -side, length_mm, rng)


def along(place: Place, length_mm: float, rng: Rng) -> Way:
    """Return the way of a body that walks along the line, near it or on it, and away from it again."""
    deep = float(rng.uniform(*ALONG_BODIES)) * length_mm
    ends = (-0.4 * place.opening.width_mm, 0.4 * place.opening.width_mm)
    first, last = ends if rng.integers(2) else ends[::-1]
    speed = float(rng.uniform(*WALK_MM_PER_S))
    outside = place.opening.point(-1.5 * length_mm, last)
    legs = [Leg(place.opening.point(min(deep, 0.0), first), speed), Leg(place.opening.point(deep, last), speed)]
    return _roam(place, [*legs, Leg(outside, speed)], -1, -1, length_mm, rng)


def stray(place: Place, length_mm: float, rng: Rng, goes_in: bool, places: int = 6) -> Way:
    """Return the way of a body that strays before the opening, and then goes in or away."""
    speed = float(rng.uniform(*WALK_MM_PER_S))
    points = [_outside(place, length_mm, STRAY_BODIES, rng) for _ in range(places)]
    legs = [Leg(point, speed, float(rng.choice((0.0, 0.5, 2.0)))) for point in points]
    if goes_in:
        legs += _through(place, length_mm, speed, rng)
    return _roam(place, legs, -1, 1 if goes_in else -1, length_mm, rng)


def groom(place: Place, length_mm: float, rng: Rng, goes_in: bool, seconds: float = 60.0) -> Way:
    """Return the way of a body that stops in the gate to groom, and then goes in or back."""
    speed, slow = float(rng.uniform(*WALK_MM_PER_S)), 0.7 * STANDING_MM_PER_S
    aside, deep = place.aside(rng), float(rng.choice((-1.0, 1.0)) * rng.uniform(*GROOM_BODIES)) * length_mm
    shifts = rng.uniform(-GROOM_SHIFT_MM, GROOM_SHIFT_MM, round(seconds * slow / GROOM_SHIFT_MM))
    near = place.opening.point(-1.5 * length_mm, aside)
    legs = [Leg(near, speed), Leg(place.opening.point(deep, aside), speed)]
    legs += [Leg(place.opening.point(deep + shift, aside), slow) for shift in shifts.tolist()]
    side = 1 if goes_in else -1
    legs.append(Leg(place.opening.point(side * 1.5 * length_mm, aside), speed))
    return _roam(place, legs, -1, side, length_mm, rng)


def rest(place: Place, length_mm: float, rng: Rng, seconds: float) -> Way:
    """Return the way of a body that rests before the opening and then goes in."""
    speed = float(rng.uniform(*WALK_MM_PER_S))
    spot = _outside(place, length_mm, REST_BODIES, rng)
    legs = [Leg(spot, speed, seconds), *_through(place, length_mm, speed, rng)]
    return _roam(place, legs, -1, 1, length_mm, rng)


def _through(place: Place, length_mm: float, speed: float, rng: Rng) -> list[Leg]:
    aside = place.aside(rng)
    reach = CLEAR_BODIES * length_mm
    return [Leg(place.opening.point(-reach, aside), speed), Leg(place.opening.point(reach, aside), speed)]


def _outside(place: Place, length_mm: float, bodies: tuple[float, float], rng: Rng) -> Point:
    """Return a place outside that the view shows, so many body lengths before the line."""
    deep = float(rng.uniform(*bodies)) * length_mm
    point = place.opening.point(deep, place.aside(rng))
    nearest = place.opening.point(bodies[1] * length_mm, place.aside(rng))
    return point if place.sight.shows(point, -length_mm * place.sight.px_per_mm(point)) else nearest


def _roam(place: Place, legs: list[Leg], came: int, goes: int, length_mm: float, rng: Rng) -> Way:
    """Return the way through these legs, from out of view on one side of the line to out of view on a side."""
    last = Leg(place.off_view(goes, legs[-1].to, length_mm, rng), legs[0].speed_mm_per_s)
    return follow(place.off_view(came, legs[0].to, length_mm, rng), [*legs, last], rng)
