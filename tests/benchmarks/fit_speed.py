"""
Speed of Weibull fits, as ratios to general fitters in the same run.

Run from the top folder: ``python tests/benchmarks/fit_speed.py``. Processor time is taken, so
that work beside it counts little; the ratios depend on the machine much less than the times.
R is timed inside its own process, at its default tolerance (Debian: ``apt-get install
r-base-core r-cran-survival``); without it, or without the library reliability, that ratio is
left out and said so. A fitter that ends at a less likely point than ours is counted. The run
fails below the ratios it names.
"""

import io
import shutil
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from contextlib import redirect_stdout
from pathlib import Path
from statistics import median
from typing import NamedTuple

import numpy as np
from scipy import stats

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from analysis.statistics.life_fit import life_fit
from analysis.statistics.life_records import lives_with_run_outs
from analysis.statistics.weibull import weibull_fit
from analysis.statistics.weibull_batch import weibull_batch
from schemas.estimates import WeibullFit

UNITS, FAILURES, LOTS = 30, 9, 20
MANY = 100_000
RESAMPLES = 10_000
LOST = 1e-6
LEAST_RELIABILITY, LEAST_R, LEAST_BATCH, MOST_PASSES = 150, 5, 3000, 15


class Lot(NamedTuple):
    """Counted cycles and whether each unit failed there."""

    lives: np.ndarray
    failed: np.ndarray


def rig_lot(units: int, failures: int, seed: int) -> Lot:
    """A lot stopped at one count between two failures; whole cycles."""
    lives = np.sort(200_000 * np.random.default_rng(seed).weibull(2.0, units))
    stop = (lives[failures - 1] + lives[failures]) / 2
    return Lot(np.ceil(np.minimum(lives, stop)), lives < stop)


def mixed_lot(units: int, seed: int) -> Lot:
    """A lot whose units stopped at counts of their own."""
    rng = np.random.default_rng(seed)
    lives, stops = 200_000 * rng.weibull(2.0, units), rng.uniform(40_000, 200_000, units)
    return Lot(np.ceil(np.minimum(lives, stops)), lives < stops)


def seconds(call: Callable[[], object], repeats: int) -> float:
    """Processor time of the fastest of several calls."""
    times = []
    for _ in range(repeats):
        start = time.process_time()
        call()
        times.append(time.process_time() - start)
    return min(times)


def median_seconds(fit: Callable[[Lot], object], lots: list[Lot], repeats: int) -> float:
    """Median over the lots of the fastest call each."""
    return median(seconds(lambda lot=lot: fit(lot), repeats) for lot in lots)


def by_us(lot: Lot) -> tuple[float, float]:
    fit = weibull_fit(lot.lives, lot.failed)
    assert isinstance(fit, WeibullFit)
    return fit.scale_cycles, fit.shape


def by_scipy(lot: Lot) -> tuple[float, float]:
    data = stats.CensoredData(lot.lives[lot.failed], right=lot.lives[~lot.failed])
    shape, _, scale = stats.weibull_min.fit(data, floc=0)
    return float(scale), float(shape)


def reliability_fitter() -> Callable[[Lot], tuple[float, float]] | None:
    """The library's fit, None where it is not installed. Slow to import."""
    try:
        from reliability.Fitters import Fit_Weibull_2P
    except ImportError as missing:
        print(f"reliability is left out: {missing}")
        return None

    def fit(lot: Lot) -> tuple[float, float]:
        with redirect_stdout(io.StringIO()):
            found = Fit_Weibull_2P(
                failures=lot.lives[lot.failed],
                right_censored=lot.lives[~lot.failed],
                show_probability_plot=False,
                print_results=False,
            )
        return float(found.alpha), float(found.beta)

    return fit


R_PROGRAM = """
suppressMessages(library(survival)); args <- commandArgs(TRUE)
rows <- read.csv(args[1])
for (id in unique(rows$lot)) {
  S <- Surv(rows$t[rows$lot == id], rows$f[rows$lot == id])
  times <- numeric(5)
  for (k in 1:5) {
    start <- sum(proc.time()[1:2])
    for (i in 1:100) survreg(S ~ 1, dist="weibull")
    times[k] <- (sum(proc.time()[1:2]) - start) / 100
  }
  cat(min(times), "\n")
}
"""


def seconds_in_r(lots: list[Lot]) -> float | None:
    """Median over the lots of survreg's time, None where R or its package is missing."""
    if shutil.which("Rscript") is None:
        print("R is left out: no Rscript")
        return None
    with tempfile.TemporaryDirectory() as folder:
        table, program = Path(folder, "lots.csv"), Path(folder, "fit.R")
        rows = [
            f"{number},{life:.17g},{int(failed)}"
            for number, lot in enumerate(lots)
            for life, failed in zip(lot.lives, lot.failed, strict=True)
        ]
        table.write_text("\n".join(["lot,t,f", *rows]), encoding="utf-8")
        program.write_text(R_PROGRAM, encoding="utf-8")
        run = subprocess.run(
            ["Rscript", str(program), str(table)], capture_output=True, text=True, check=False
        )
    if run.returncode:
        print(f"R is left out: {run.stderr.strip().splitlines()[-1]}")
        return None
    return median(float(line) for line in run.stdout.split())


def log_likelihood(lot: Lot, scale: float, shape: float) -> float:
    law = stats.weibull_min(shape, scale=scale)
    return float(np.where(lot.failed, law.logpdf(lot.lives), law.logsf(lot.lives)).sum())


def report_small_lots() -> float | None:
    """Fits of 30 units; gives the seconds of a fit by the library reliability."""
    lots = [rig_lot(UNITS, FAILURES, seed) for seed in range(LOTS)]
    ours = median_seconds(by_us, lots, repeats=50)
    print(
        f"one fit, {UNITS} units, {FAILURES} failures, median of {LOTS} lots: {ours * 1e6:.0f} us"
    )
    reliability = reliability_fitter()
    peers = {"scipy": by_scipy} | ({"reliability": reliability} if reliability else {})
    peer_seconds = {}
    for name, fit in peers.items():
        fit(lots[0])
        peer_seconds[name] = median_seconds(fit, lots, repeats=3)
        losses = [log_likelihood(lot, *by_us(lot)) - log_likelihood(lot, *fit(lot)) for lot in lots]
        assert min(losses) > -LOST, f"{name} found a more likely point"
        short = sum(loss > LOST for loss in losses)
        print(
            f"  {name}: {peer_seconds[name] / ours:.0f} times ours;"
            f" short of the maximum on {short} of {LOTS} lots"
        )
    in_r = seconds_in_r(lots)
    if in_r is not None:
        print(f"  R survreg: {in_r / ours:.1f} times ours")
        assert in_r / ours >= LEAST_R
    if "reliability" not in peer_seconds:
        return None
    assert peer_seconds["reliability"] / ours >= LEAST_RELIABILITY
    return peer_seconds["reliability"]


def report_many_units() -> None:
    """Fits of 100 000 units in passes over them."""
    room = np.empty(MANY)
    for name, lot in (
        ("stopped at one count", rig_lot(MANY, 3 * MANY // 10, seed=1)),
        ("each stopped at its own", mixed_lot(MANY, seed=1)),
    ):

        def one_pass(lives: np.ndarray = lot.lives) -> float:
            np.multiply(np.log(lives), 2.0, out=room)
            return float(np.exp(room, out=room).sum())

        def by_records(lot: Lot = lot) -> object:
            return life_fit(lives_with_run_outs(lot.lives, lot.failed), "WEIBULL")

        ratios = [
            (seconds(lambda lot=lot: by_us(lot), 3) / single, seconds(by_records, 3) / single)
            for single in (seconds(one_pass, 7) for _ in range(5))
        ]
        fits, records = (median(column) for column in zip(*ratios, strict=True))
        print(
            f"{MANY} units, {name}: weibull_fit {fits:.1f} passes of log, exp and sum;"
            f" sorted into records and fitted with covariance {records:.1f}"
        )
        assert fits <= MOST_PASSES


def report_batch(reliability_seconds: float | None) -> None:
    """Resamples of one lot: drawn, fitted, counted."""
    lot = rig_lot(UNITS, FAILURES, seed=1)
    lives, which = np.unique(lot.lives, return_inverse=True)
    shares = np.bincount(which, minlength=lives.size) / UNITS
    failed = np.bincount(which, weights=lot.failed, minlength=lives.size) > 0.0
    rng = np.random.default_rng(1)

    def resample() -> np.ndarray:
        units = rng.multinomial(UNITS, shares, size=RESAMPLES)
        return weibull_batch(lives, units, units * failed).found

    each = seconds(resample, 7) / RESAMPLES
    print(
        f"{RESAMPLES} resamples of {UNITS} units, drawn and fitted: {each * 1e6:.2f} us each,"
        f" {1 - resample().mean():.2%} without a maximum"
    )
    own = np.stack([rig_lot(UNITS, FAILURES, seed).lives for seed in range(1000)])
    flags = np.stack([rig_lot(UNITS, FAILURES, seed).failed for seed in range(1000)])
    ones, failures = np.ones(own.shape), flags.astype(np.float64)
    lots = seconds(lambda: weibull_batch(own, ones, failures), 7) / len(own)
    print(f"1000 different lots of {UNITS} units: {lots * 1e6:.2f} us each")
    if reliability_seconds is not None:
        print(f"  a loop of reliability's fits: {reliability_seconds / each:.0f} times a resample")
        assert reliability_seconds / each >= LEAST_BATCH


if __name__ == "__main__":
    warnings.simplefilter("ignore")
    report_many_units()
    report_batch(report_small_lots())
