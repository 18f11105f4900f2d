"""How often the forecast's 80 % limits hold the true moment, over invented stations: a table.

Run with the tests on the path, as ``PYTHONPATH=tests python tests/bench/forecast_coverage.py [STATIONS] [WORD]``:
only settings with the word in their name are taken. A cell tells how many forecasts were made, how many of them held
the truth between their limits [%], and for how many the truth was earlier and later [%]. With a third word the truth
is the host's own call `ready`, and each line tells at what share of the rule it came: 10, 30, 50, 70, 90 % of them.
"""

import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from growing import Station, Truth, called_at, grown, share_at

from swapbell_models.forecasting.forecast import STEP, Forecast, Refusal, forecast
from swapbell_models.forecasting.growth import Growth
from swapbell_models.readiness import Rule

# None: share of the rule that comes. Linear: share that was there at first. Exponential: doubling time [foraging h].
SPEED: Mapping[Growth, tuple[float, float]] = {
    Growth.NONE: (0.03, 0.8),
    Growth.LINEAR: (0.0, 0.3),
    Growth.EXPONENTIAL: (5.0, 28.0),
}
# From 3 foraging hours, a quarter of a day, to three days and a half.
AHEAD_H = (3.0, 45.0)


@dataclass(frozen=True, slots=True)
class Setting:
    """A population of stations; what is a pair is drawn evenly between its two for each station."""

    name: str
    days: tuple[int, int] = (2, 6)
    ahead_h: tuple[float, float] = AHEAD_H
    sizes: tuple[float, ...] = (np.inf, 10.0, 5.0)
    spread: tuple[float, float] = (0.0, 0.3)
    weak: float = 0.0
    gaps: tuple[float, float] = (0.0, 0.3)
    tilt: float = 0.0
    speed: Mapping[Growth, tuple[float, float]] | None = None

    def draw(self, growth: Growth, rng: np.random.Generator) -> Truth:
        """Return one station's truth."""
        return Truth(
            growth,
            days=int(rng.integers(self.days[0], self.days[1] + 1)),
            ahead_h=rng.uniform(*self.ahead_h),
            speed=rng.uniform(*(self.speed or SPEED)[growth]),
            size=float(rng.choice(self.sizes)),
            spread=rng.uniform(*self.spread),
            weak=self.weak,
            gaps=rng.uniform(*self.gaps),
            tilt=rng.normal(0.0, self.tilt),
        )


NEVER, STEADY, HALF = (0.0, 0.0), (np.inf,), {Growth.NONE: (0.5, 0.5)}
SETTINGS = (
    Setting("all mixed"),
    Setting("Poisson, even days, no gaps", sizes=STEADY, spread=NEVER, gaps=NEVER),
    Setting("k = 5, even days, no gaps", sizes=(5.0,), spread=NEVER, gaps=NEVER),
    Setting("k = 2, even days, no gaps", sizes=(2.0,), spread=NEVER, gaps=NEVER),
    Setting("2 days", days=(2, 2)),
    Setting("3 days", days=(3, 3)),
    Setting("6 days", days=(6, 6)),
    Setting("half of the hours unwatched", gaps=(0.5, 0.5)),
    Setting("days scatter by 15 %", spread=(0.15, 0.15)),
    Setting("days scatter by 30 %", spread=(0.3, 0.3)),
    Setting("three days of ten weak", spread=NEVER, weak=0.3),
    Setting(
        "fast",
        speed={Growth.NONE: (0.03, 0.1), Growth.LINEAR: (0.0, 0.02), Growth.EXPONENTIAL: (3.0, 6.0)},
    ),
    Setting(
        "slow",
        speed={Growth.NONE: (0.5, 0.9), Growth.LINEAR: (0.2, 0.5), Growth.EXPONENTIAL: (25.0, 50.0)},
    ),
    Setting("within a day", ahead_h=(1.0, 13.0)),
    Setting("in three to five days", ahead_h=(40.0, 65.0)),
    Setting("busier mornings or evenings than the curve", tilt=0.2),
)


def outcome(station: Station) -> str:
    """Tell what became of one station's forecast; "past" where the rule was reached before now."""
    made = forecast(station.windows, station.foraging, station.now, Rule())
    if made.refusal:
        return made.refusal.value
    return "held" if station.reached_at is None else _side(made, station.reached_at.timestamp())


def _side(made: Forecast, true_s: float) -> str:
    assert made.earliest
    assert made.latest
    step_s = STEP / timedelta(seconds=1)
    if true_s < made.earliest.at.timestamp() - step_s:
        return "earlier"
    return "later" if true_s > made.latest.at.timestamp() + step_s else "held"


def outcomes(setting: Setting, growth: Growth, stations: int, seed: int = 1) -> list[str]:
    """Return what became of each station's forecast; a guess on no growth is "guess"."""
    rng = np.random.default_rng(seed)
    drawn = [grown(setting.draw(growth, rng), rng) for _ in range(stations)]
    told = [outcome(station) for station in drawn]
    return ["guess" if growth is Growth.NONE and each == "held" else each for each in told]


def calls(setting: Setting, growth: Growth, stations: int, seed: int = 1) -> tuple[list[str], list[float]]:
    """Return what became of each station's forecast of the call, and at what share of the rule each call came."""
    rng, told, shares = np.random.default_rng(seed), list[str](), list[float]()
    for _ in range(stations):
        truth = setting.draw(growth, rng)
        station = grown(truth, rng)
        called = called_at(truth, station.now, rng)
        call = forecast(station.windows, station.foraging, station.now, Rule()).call
        if called is not None:
            shares.append(share_at(truth, station.now, called))
        if called is not None and call is not None:
            told.append("earlier" if called < call[0].at else "later" if called > call[2].at else "held")
    return told, shares


def call_rows(stations: int, word: str) -> Iterator[str]:
    """Yield the table of the calls, line by line."""
    for setting in SETTINGS:
        for growth in (Growth.LINEAR, Growth.EXPONENTIAL):
            if word in setting.name:
                told, shares = calls(setting, growth, stations)
                spread = ", ".join(f"{share:.2f}" for share in np.quantile(shares, (0.1, 0.3, 0.5, 0.7, 0.9)))
                yield f"{setting.name}, {growth.value}: called at {spread} of the rule; {cell(told)}"


def cell(told: list[str]) -> str:
    """Return the outcomes in brief."""
    if "guess" in told or not set(told) & {"held", "earlier", "later"}:
        refused = sum(each in {refusal.value for refusal in Refusal} for each in told)
        return f"{100.0 * refused / len(told):.1f} % refused"
    made = [each for each in told if each in {"held", "earlier", "later"}]
    held, earlier, later = (100.0 * made.count(word) / len(made) for word in ("held", "earlier", "later"))
    return f"{len(made)}: **{held:.1f}** ({earlier:.0f}, {later:.0f})"


def rows(stations: int, word: str) -> Iterator[str]:
    """Yield the table, line by line."""
    yield "| stations | " + " | ".join(growth.value for growth in Growth) + " |"
    yield "|---" * (len(Growth) + 1) + "|"
    for setting in SETTINGS:
        if word in setting.name:
            cells = (cell(outcomes(setting, growth, stations)) for growth in Growth)
            yield f"| {setting.name} | " + " | ".join(cells) + " |"


if __name__ == "__main__":
    given = dict(enumerate(sys.argv))
    table = call_rows if given.get(3) else rows
    for line in table(int(given.get(1, "1000")), given.get(2, "")):
        sys.stdout.write(f"{line}\n")
        sys.stdout.flush()
