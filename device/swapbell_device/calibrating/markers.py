"""The markers of a card in a picture: which are read, where they put the card, and how sharply it is seen."""

import cv2
import numpy as np
from numpy.typing import NDArray

from swapbell_device.calibrating.card import Card

# By its number, the four corners of a marker in the picture, (4, 2) [px].
Markers = dict[int, NDArray[np.float64]]
# A homography, (3, 3).
Matrix = NDArray[np.float64]

# How the picture is made larger and crisper, and smaller, until markers are read: the first for small ones and slight
# blur, the others to learn of a blur that hides them.
CRISPER, COARSER = 2.0, (0.5, 0.25, 0.125)
# Our choice, tried on drawn views: how far and how much a larger picture is sharpened.
CRISP_PX, CRISP_GAIN = 3.0, 2.0
# Our choice: one marker alone is read by chance from leaves now and then.
MARKERS_MIN = 2
# Our choice: detail enough to foresee any view that is used.
CARD_PX_PER_SQUARE = 84


def read_markers(picture: NDArray[np.uint8], card: Card) -> Markers:
    """Return the markers of a card that are read at best: as the picture is, made crisper, or only made coarser."""
    best = max((_read(scaled(picture, by), card, by) for by in (1.0, CRISPER)), key=len)
    for by in COARSER:
        if len(best) >= MARKERS_MIN:
            return best
        best = _read(scaled(picture, by), card, by)
    return best


def to_picture(card: Card, markers: Markers) -> Matrix:
    """Return the homography from the card [mm] to the picture [px], by least squares over the markers' corners."""
    of_marker = dict(zip(card.ids.tolist(), card.board.getObjPoints(), strict=True))
    on_card = np.vstack([np.asarray(of_marker[number], np.float64)[:, :2] for number in markers])
    plane, _ = cv2.findHomography(on_card, np.vstack(list(markers.values())))
    return np.asarray(plane, np.float64)


def project(plane: Matrix, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return where a homography puts points, (n, 2)."""
    return np.asarray(cv2.perspectiveTransform(points.reshape(-1, 1, 2), plane), np.float64).reshape(-1, 2)


def edge_width_px(picture: NDArray[np.uint8], points_px: NDArray[np.float64], side_px: float) -> float:
    """Return how wide edges are [px]: the contrast across one over its steepest slope, in the middle of many.

    Parameters
    ----------
    picture : (rows, columns) of uint8
        Luma.
    points_px : (n, 2)
        Where edges are [px].
    side_px : float
        The shortest side of a square [px]; half of it around each point is looked at.
    """
    soft = cv2.GaussianBlur(picture, (3, 3), 0.0).astype(np.float32)
    slope = np.hypot(cv2.Sobel(soft, cv2.CV_32F, 1, 0, scale=0.125), cv2.Sobel(soft, cv2.CV_32F, 0, 1, scale=0.125))
    widths = [
        _contrast(soft[around]) / max(float(np.percentile(slope[around], 98.0)), 1e-3)
        for around in _around(picture, points_px, max(side_px / 2.0, 2.0))
    ]
    return float(np.median(widths)) if widths else float("inf")


def likeness(
    picture: NDArray[np.uint8], card: Card, plane: Matrix, points_px: NDArray[np.float64], side_px: float
) -> NDArray[np.float64]:
    """Return how far the picture around each point looks as the card would there: correlations, 1 at best.

    Points [px] as (n, 2), none farther out than the picture; `plane` leads from the card [mm] to the picture [px].
    """
    px_per_mm = CARD_PX_PER_SQUARE / card.square_mm
    from_print = np.array([[1.0, 0.0, 0.5], [0.0, 1.0, 0.5], [0.0, 0.0, px_per_mm]]) / px_per_mm
    shape = picture.shape[1], picture.shape[0]
    foreseen = cv2.warpPerspective(
        card.picture(px_per_mm), plane @ from_print, shape, flags=cv2.INTER_AREA, borderValue=(255.0,)
    )
    soft, softer = (np.asarray(cv2.GaussianBlur(each, (0, 0), 1.5), np.float64) for each in (foreseen, picture))
    return np.array([_correlation(soft[spot], softer[spot]) for spot in _around(picture, points_px, side_px * 0.6)])


def scaled(picture: NDArray[np.uint8], by: float) -> NDArray[np.uint8]:
    """Return the picture made larger and crisper, or smaller."""
    if by == 1.0:
        return picture
    if by < 1.0:
        return np.asarray(cv2.resize(picture, None, fx=by, fy=by, interpolation=cv2.INTER_AREA), np.uint8)
    larger = cv2.resize(picture, None, fx=by, fy=by, interpolation=cv2.INTER_CUBIC)
    soft = cv2.GaussianBlur(larger, (0, 0), CRISP_PX)
    return np.asarray(cv2.addWeighted(larger, 1.0 + CRISP_GAIN, soft, -CRISP_GAIN, 0.0), np.uint8)


def _read(picture: NDArray[np.uint8], card: Card, by: float) -> Markers:
    looking = cv2.aruco.DetectorParameters()
    looking.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector = cv2.aruco.ArucoDetector(card.board.getDictionary(), looking)
    corners, numbers, _ = detector.detectMarkers(picture)
    # Where nothing is read, the numbers are nothing, whatever OpenCV's annotations say.
    read = np.empty(0, np.int64) if not corners else np.asarray(numbers, np.int64).ravel()
    return {
        int(number): (np.asarray(four, np.float64).reshape(4, 2) + 0.5) / by - 0.5
        for number, four in zip(read, corners, strict=True)
        if number in card.ids
    }


def _around(picture: NDArray[np.uint8], points_px: NDArray[np.float64], reach_px: float) -> list[tuple[slice, slice]]:
    """Return the rows and columns around each point that lies in the picture."""
    reach, (height, width) = round(reach_px), picture.shape
    middles = [(round(x), round(y)) for x, y in points_px.tolist()]
    return [
        (slice(max(y - reach, 0), y + reach + 1), slice(max(x - reach, 0), x + reach + 1))
        for x, y in middles
        if 0 <= x < width and 0 <= y < height
    ]


def _contrast(patch: NDArray[np.float32]) -> float:
    low, high = np.percentile(patch, (5.0, 95.0))
    return float(high - low)


def _correlation(one: NDArray[np.float64], other: NDArray[np.float64]) -> float:
    first, second = one - one.mean(), other - other.mean()
    spread = float(np.sqrt((first**2).sum() * (second**2).sum()))
    return float((first * second).sum()) / spread if spread > 0.0 else 0.0
