"""Says whether a board's camera was counted as its pictures are: board_verdict.py TOLD.json; exit 1 if not."""

import json
import sys
from pathlib import Path

# The two ways to luma round differently; a moment by a thousandth, a length by a few hundredths of it.
SAME_S, SAME_MM = 0.05, 0.5


def alike(one: dict[str, float | str], other: dict[str, float | str]) -> bool:
    """Tell whether two events are the same body's."""
    bars = {"t_s": SAME_S, "length_mm": SAME_MM}
    near = all(abs(float(one[key]) - float(other[key])) <= most for key, most in bars.items())
    return near and one["direction"] == other["direction"] and one["size"] == other["size"]


told = json.loads(Path(sys.argv[1]).read_text())
live, stills = told["live"], told["stills"]
faults = [
    *(["not every picture came"] if told["pictures"] != told["replayed"] else []),
    *([f"pictures came {told['repeats']} times each"] if len(told["repeats"]) != 1 else []),
    *([] if told["times_grow"] else ["the sensor's times do not grow"]),
    *([] if told["worst_level"] < 1.0 else [f"pictures differ by {told['worst_level']:.1f} levels"]),
    *([] if live else ["nothing was counted"]),
    *([] if len(live) == len(stills) and all(map(alike, live, stills)) else [f"counted {live} instead of {stills}"]),
]
sys.stdout.write(
    f"{told['pictures']} of {told['replayed']} pictures, {len(live)} events, {len(stills)} of the files\n"
)
sys.stdout.writelines(f"{fault}\n" for fault in faults)
sys.exit(bool(faults))
