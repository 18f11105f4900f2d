"""Counting clips and drawn scenes whose truth is known."""

import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from swapbell_device.camera import Camera, Clip, read_times
from swapbell_device.drawing.conditions import CONDITIONS, check, draw
from swapbell_device.moment import Moment
from swapbell_device.scoring.score import Event, Score, events, known, score
from swapbell_device.stationfile import StationFile
from swapbell_device.truthfile import SUFFIX, read_truth
from swapbell_models.fault import Mistake

Watch = Callable[[Camera, StationFile], Iterable[Moment]]


@dataclass(frozen=True, slots=True)
class Case:
    """One clip or scene with its truth; cases of one condition are scored together."""

    name: str
    condition: str
    camera: Camera
    station: StationFile
    true: list[Event]


def cases(folder: Path | None, drawn: bool, seeds: int, only: Sequence[str]) -> Iterator[Case]:
    """Return what is to be scored: a folder's clips or the drawn conditions, all or only some.

    Raises
    ------
    Mistake
        If it is neither or both, or a condition is unknown or has no clip in the folder.
    """
    if drawn == (folder is not None):
        raise Mistake("score: give either a folder of clips with their truths, or --drawn")
    if folder is not None:
        return _chosen(list(clip_cases(folder)), folder, only)
    for condition in only:
        check(condition)
    return drawn_cases(only or tuple(CONDITIONS), seeds)


def _chosen(found: Sequence[Case], folder: Path, only: Sequence[str]) -> Iterator[Case]:
    there = sorted({case.condition for case in found})
    for condition in only:
        if condition not in there:
            raise Mistake(f"score: {folder} holds no clip of {condition!r}; --only takes {', '.join(there)}")
    return (case for case in found if not only or case.condition in only)


def drawn_cases(conditions: Sequence[str], seeds: int) -> Iterator[Case]:
    """Yield the drawn scenes of these conditions, `seeds` of each."""
    for condition in conditions:
        for seed in range(1, seeds + 1):
            scene = draw(condition, seed)
            yield Case(f"{condition} {seed}", condition, scene, scene.station, events(scene.truth))


def clip_cases(folder: Path) -> Iterator[Case]:
    """Yield the clips of a folder that have a truth beside them, in the order of their names.

    Raises
    ------
    Mistake
        If the folder holds no truth, or a truth or its clip cannot be used.
    """
    paths = sorted(folder.glob(f"*{SUFFIX}"))
    if not paths:
        raise Mistake(f"folder {folder}: no *{SUFFIX} in it; give a folder of clips with their truths")
    for path in paths:
        truth = read_truth(path)
        times = read_times(folder / truth.times) if truth.times else None
        name = path.name.removesuffix(SUFFIX)
        clip = Clip(folder / truth.clip, times)
        yield Case(name, truth.condition or name, clip, truth.station(str(path)), known(truth))


def scores(cases: Iterable[Case], watch: Watch) -> dict[str, Score]:
    """Count every case and return the score of each condition, in the order in which they came."""
    board: dict[str, Score] = {}
    for case in cases:
        counted = events(c for moment in watch(case.camera, case.station) for c in moment.crossings)
        one = score(case.true, counted)
        board[case.condition] = board.get(case.condition, Score()) + one
        marks = one.whole
        sys.stderr.write(f"{case.name}: {marks.true} true, {marks.counted} counted, {marks.matched} matched\n")
    return board
