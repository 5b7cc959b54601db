"""
Does each fitter find the maximum on hard lots, and does it refuse where there is none?

Run from the top folder: ``python tests/benchmarks/hard_lots.py [lots per family] [seed]``.
Peers that are not installed are skipped and named. To have them all, in an environment of
their own beside this project's packages::

    pip install reliability==0.9.0 lifelines==0.30.3 surpyval==0.25 predictr==0.1.37
    apt-get install r-base-core r-cran-survival

Every answer is judged by one log-likelihood, written here: exact sums of densities and
survivals at the scale and shape that were given. R's ``survreg`` counts as converged where
its own answer has no slope (1e-6 per failure). The run fails if a peer's answer is more
likely than ours by more than 1e-9 of its size, if ours has a slope, or if we answer where
nothing is to be answered.
"""

import io
import math
import shutil
import subprocess
import sys
import tempfile
import warnings
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import NamedTuple

import numpy as np
from scipy import stats

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "support"))

from hard_life_lots import WITHOUT_MAXIMUM, LifeLot, draw_hard_lots

from analysis.statistics.weibull import weibull_fit
from schemas.estimates import NotEstimable

ALLOWED = 1e-9
BAD_LOSS = 0.01

Fitter = Callable[[LifeLot], tuple[float, float]]


class RFit(NamedTuple):
    """What R's survreg answered."""

    scale: float
    shape: float


def by_us(lot: LifeLot) -> tuple[float, float]:
    fit = weibull_fit(lot.lives, lot.failed)
    if isinstance(fit, NotEstimable):
        raise ValueError(fit.reason)
    return fit.scale_cycles, fit.shape


def by_scipy(lot: LifeLot) -> tuple[float, float]:
    data = stats.CensoredData(lot.lives[lot.failed], right=lot.lives[~lot.failed])
    shape, _, scale = stats.weibull_min.fit(data, floc=0)
    return float(scale), float(shape)


def reliability_fitter() -> Fitter:
    from reliability.Fitters import Fit_Weibull_2P

    def fit(lot: LifeLot) -> tuple[float, float]:
        found = Fit_Weibull_2P(
            failures=lot.lives[lot.failed],
            right_censored=lot.lives[~lot.failed],
            show_probability_plot=False,
            print_results=False,
        )
        return float(found.alpha), float(found.beta)

    return fit


def lifelines_fitter() -> Fitter:
    from lifelines import WeibullFitter

    def fit(lot: LifeLot) -> tuple[float, float]:
        found = WeibullFitter().fit(lot.lives, lot.failed)
        return float(found.lambda_), float(found.rho_)

    return fit


def surpyval_fitter() -> Fitter:
    import surpyval

    def fit(lot: LifeLot) -> tuple[float, float]:
        found = surpyval.Weibull.fit(lot.lives, c=(~lot.failed).astype(int))
        return float(found.alpha), float(found.beta)

    return fit


def predictr_fitter() -> Fitter:
    from predictr import Analysis

    def fit(lot: LifeLot) -> tuple[float, float]:
        found = Analysis(
            df=lot.lives[lot.failed].tolist(), ds=lot.lives[~lot.failed].tolist(), show=False
        )
        found.mle()
        return float(found.eta), float(found.beta)

    return fit


def peers() -> dict[str, Fitter]:
    """Every fitter that can be imported; the others are named."""
    found: dict[str, Fitter] = {"scipy": by_scipy}
    makers = {
        "reliability": reliability_fitter,
        "lifelines": lifelines_fitter,
        "surpyval": surpyval_fitter,
        "predictr": predictr_fitter,
    }
    for name, make in makers.items():
        try:
            found[name] = make()
        except ImportError as missing:
            print(f"{name} is left out: {missing}")
    return found


R_PROGRAM = """
suppressMessages(library(survival)); args <- commandArgs(TRUE)
rows <- read.csv(args[1])
for (id in unique(rows$lot)) {
  d <- rows[rows$lot == id, ]
  g <- suppressWarnings(tryCatch(survreg(Surv(t, f) ~ 1, data=d, dist="weibull"),
                                 error=function(e) NULL))
  if (is.null(g)) cat(id, "NA NA\n")
  else cat(id, sprintf("%.17g %.17g\n", exp(coef(g)), 1/g$scale))
}
"""


def by_r(lots: list[LifeLot]) -> list[RFit] | None:
    """All lots in one R process; None where R or its package survival is missing."""
    if shutil.which("Rscript") is None:
        print("R is left out: no Rscript")
        return None
    with tempfile.TemporaryDirectory() as folder:
        table, program = Path(folder, "lots.csv"), Path(folder, "fit.R")
        lines = ["lot,t,f"]
        for number, lot in enumerate(lots):
            lines += [
                f"{number},{life:.17g},{int(failed)}"
                for life, failed in zip(lot.lives, lot.failed, strict=True)
            ]
        table.write_text("\n".join(lines), encoding="utf-8")
        program.write_text(R_PROGRAM, encoding="utf-8")
        run = subprocess.run(
            ["Rscript", str(program), str(table)], capture_output=True, text=True, check=False
        )
    if run.returncode:
        print(f"R is left out: {run.stderr.strip().splitlines()[-1]}")
        return None
    rows = [line.split() for line in run.stdout.splitlines()]
    return [RFit(*(math.nan if x == "NA" else float(x) for x in row[1:])) for row in rows]


def log_likelihood(lot: LifeLot, scale: float, shape: float) -> float:
    """Exact sum; -inf at a point that is none."""
    if not (0.0 < scale < math.inf and 0.0 < shape < math.inf):
        return -math.inf
    log_ratio = np.log(lot.lives) - math.log(scale)
    with np.errstate(over="ignore"):
        terms = -np.exp(shape * log_ratio)
    terms[lot.failed] += shape * log_ratio[lot.failed] + math.log(shape)
    terms[lot.failed] -= np.log(lot.lives[lot.failed])
    return math.fsum(terms) if np.isfinite(terms).all() else -math.inf


def largest_slope(lot: LifeLot, scale: float, shape: float) -> float:
    """Largest derivative by ln scale (in spreads) and ln shape, per failure."""
    z = shape * (np.log(lot.lives) - math.log(scale))
    power, count = np.exp(z), float(lot.failed.sum())
    by_scale = math.fsum(power) - count
    by_shape = count + math.fsum(np.where(lot.failed, z, 0.0) - z * power)
    return max(abs(by_scale), abs(by_shape)) / count


def quietly(fit: Fitter, lot: LifeLot) -> tuple[float, float] | None:
    """A peer's answer, None where it raises or gives no number."""
    sink = io.StringIO()
    with warnings.catch_warnings(), redirect_stdout(sink), redirect_stderr(sink):
        warnings.simplefilter("ignore")
        try:
            scale, shape = fit(lot)
        except Exception:  # Whatever a peer raises is its refusal.
            return None
    return (scale, shape) if scale > 0.0 and shape > 0.0 and scale < math.inf else None


class Tally:
    """Losses of one fitter on the lots of one family."""

    def __init__(self) -> None:
        self.refused = 0
        self.lost: list[float] = []
        self.ahead = 0.0

    def add(self, ours: float, theirs: float | None) -> None:
        if theirs is None:
            self.refused += 1
            return
        self.lost.append(ours - theirs)
        self.ahead = max(self.ahead, (theirs - ours) / abs(theirs))

    def line(self) -> str:
        worst = max(self.lost, default=0.0)
        bad = sum(loss > BAD_LOSS for loss in self.lost)
        return (
            f"refused {self.refused:3d}  worst loss {worst:9.2e}  lost over {BAD_LOSS} on {bad:3d}"
            f"  ahead of us by at most {self.ahead:.1e} of its size"
        )


def report_hard_lots(each: int, seed: int, fitters: dict[str, Fitter]) -> None:
    """Every family, every fitter."""
    families = draw_hard_lots(each, seed=seed)
    from_r = by_r([lot for lots in families.values() for lot in lots])
    number, worst_ahead, worst_slope = 0, 0.0, 0.0
    r_shape, r_scale, r_agreed, r_failed = 0.0, 0.0, 0, 0
    for name, lots in families.items():
        print(f"\n{name}: {len(lots)} lots")
        tallies = {peer: Tally() for peer in fitters}
        for lot in lots:
            scale, shape = by_us(lot)
            ours = log_likelihood(lot, scale, shape)
            worst_slope = max(worst_slope, largest_slope(lot, scale, shape))
            for peer, fit in fitters.items():
                found = quietly(fit, lot)
                tallies[peer].add(ours, None if found is None else log_likelihood(lot, *found))
            if from_r is not None:
                theirs = from_r[number]
                at_r = log_likelihood(lot, *theirs)
                worst_ahead = max(worst_ahead, (at_r - ours) / abs(ours))
                if math.isfinite(at_r) and largest_slope(lot, *theirs) < 1e-6:
                    r_agreed += 1
                    r_scale = max(r_scale, abs(math.log(theirs.scale / scale)))
                    r_shape = max(r_shape, abs(math.log(theirs.shape / shape)))
                else:
                    r_failed += 1
            number += 1
        for peer, tally in tallies.items():
            print(f"  {peer:12s} {tally.line()}")
            worst_ahead = max(worst_ahead, tally.ahead)
    print(f"\nlargest slope of ours, per failure: {worst_slope:.1e}")
    print(f"a peer more likely than we by at most {worst_ahead:.1e} of its size")
    if from_r is not None:
        print(
            f"R survreg without slope on {r_agreed} of {r_agreed + r_failed} lots; there ln scale"
            f" differs by at most {r_scale:.1e}, ln shape by {r_shape:.1e}"
        )
    assert worst_ahead <= ALLOWED
    assert worst_slope <= 1e-9


def report_refusals(fitters: dict[str, Fitter]) -> None:
    """Lots whose likelihood has no maximum."""
    print("\nwhere the likelihood has no maximum")
    from_r = by_r(list(WITHOUT_MAXIMUM.values()))
    for number, (name, lot) in enumerate(WITHOUT_MAXIMUM.items()):
        answer = weibull_fit(lot.lives, lot.failed)
        assert isinstance(answer, NotEstimable), name
        print(f"  {name}: ours {answer.reason}")
        for peer, fit in fitters.items():
            found = quietly(fit, lot)
            said = "refuses" if found is None else f"scale {found[0]:.3g}, shape {found[1]:.3g}"
            print(f"    {peer:12s} {said}")
        if from_r is not None:
            print(f"    {'R survreg':12s} scale {from_r[number].scale:.3g}")


if __name__ == "__main__":
    LOTS_EACH = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    SEED = int(sys.argv[2]) if len(sys.argv) > 2 else 11
    PEERS = peers()
    report_hard_lots(LOTS_EACH, SEED, PEERS)
    report_refusals(PEERS)
