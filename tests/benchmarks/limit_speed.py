"""
Speed of limits, as ratios in one run: many counts against one, and against other ways.

Run from the top folder: ``python tests/benchmarks/limit_speed.py``. The lot: 30 units, 9
failures, the rest stopped at the tenth life. Contenders take turns; medians are compared.
Likelihood-ratio limits stand beside the textbook's profile and root finder (tests/support),
the bootstrap beside a loop of `reliability` fits to lots resampled unit by unit.
"""

import io
import sys
import time
from collections.abc import Callable
from contextlib import redirect_stdout
from pathlib import Path
from statistics import median

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "support")]

from textbook_limits import Textbook  # noqa: E402

from analysis.statistics.bootstrap import Resampling, bootstrap_limits  # noqa: E402
from analysis.statistics.fisher_limits import fisher_limits  # noqa: E402
from analysis.statistics.life_fit import life_fit  # noqa: E402
from analysis.statistics.life_records import lives_with_run_outs  # noqa: E402
from analysis.statistics.likelihood_limits import likelihood_limits  # noqa: E402
from schemas.fit_limits import FitLimits  # noqa: E402
from schemas.fits import Distribution, LifeFit  # noqa: E402

CONFIDENCE = 0.95
RESAMPLES = 10_000
LIBRARY_FITS = 20
RNG = np.random.default_rng(0)
DRAWN = np.sort(200_000 * RNG.weibull(2.0, 30))
STOP = float(DRAWN[9])
LIVES, FAILED = np.minimum(DRAWN, STOP), DRAWN < STOP
MANY = np.geomspace(0.5 * float(DRAWN[0]), 1.5 * STOP, 200).tolist()


def in_turns(contenders: dict[str, Callable[[], object]], rounds: int) -> dict[str, float]:
    """Median seconds of each; the first turn warms up and is not counted."""
    taken: dict[str, list[float]] = {name: [] for name in contenders}
    for turn in range(rounds + 1):
        for name, call in contenders.items():
            start = time.perf_counter()
            call()
            if turn:
                taken[name].append(time.perf_counter() - start)
    return {name: median(times) for name, times in taken.items()}


def ratio_limits(distribution: Distribution, at_cycles: list[float]) -> FitLimits:
    found = likelihood_limits(
        lives_with_run_outs(LIVES, FAILED),
        distribution,
        confidence=CONFIDENCE,
        at_cycles=at_cycles,
        fractions=[],
    )
    assert isinstance(found, FitLimits)
    return found


def fitted(distribution: Distribution) -> LifeFit:
    fit = life_fit(lives_with_run_outs(LIVES, FAILED), distribution)
    assert isinstance(fit, LifeFit)
    return fit


def by_the_textbook(distribution: Distribution, cycles: float) -> tuple[float, float]:
    fit, records = fitted(distribution), lives_with_run_outs(LIVES, FAILED)
    book = Textbook(records, distribution, (fit.location, fit.spread), CONFIDENCE)
    return book.reliability_limits(cycles)


def resampled(kind: str) -> object:
    resampling = Resampling(kind=kind, resample_count=RESAMPLES, rng=np.random.default_rng(1))  # type: ignore[arg-type]
    return bootstrap_limits(
        lives_with_run_outs(LIVES, FAILED),
        resampling,
        confidence=CONFIDENCE,
        at_cycles=[STOP],
        fractions=[0.1],
    )


def loop_of_library_fits() -> None:
    from reliability.Fitters import Fit_Weibull_2P  # slow to import: only when it is timed

    done = 0
    while done < LIBRARY_FITS:
        chosen = RNG.integers(0, LIVES.size, LIVES.size)
        failures = LIVES[chosen][FAILED[chosen]]
        if np.unique(failures).size < 2:
            continue
        with redirect_stdout(io.StringIO()):
            Fit_Weibull_2P(
                failures=failures,
                right_censored=LIVES[chosen][~FAILED[chosen]],
                show_probability_plot=False,
                print_results=False,
            )
        done += 1


def report_ratio_limits(distribution: Distribution) -> None:
    found = ratio_limits(distribution, MANY)
    worst = 0.0
    for place in (0, 60, 120, 199):
        book = by_the_textbook(distribution, MANY[place])
        ours = (found.reliability[place].lower, found.reliability[place].upper)
        worst = max(worst, *(abs(a / b - 1.0) for a, b in zip(ours, book, strict=True)))  # type: ignore[operator]
    times = in_turns(
        {
            "one": lambda: ratio_limits(distribution, [STOP]),
            "many": lambda: ratio_limits(distribution, MANY),
            "textbook": lambda: by_the_textbook(distribution, STOP),
            "fisher": lambda: fisher_limits(
                fitted(distribution), confidence=CONFIDENCE, at_cycles=MANY, fractions=[]
            ),
            "fit": lambda: fitted(distribution),
        },
        rounds=15,
    )
    one = times["one"]
    print(
        f"{distribution}, likelihood ratio: 1 count {one * 1e3:.2f} ms;"
        f" 200 counts {times['many'] / one:.2f} times that;"
        f" textbook, 1 count {times['textbook'] / one:.1f} times,"
        f" 200 counts (one by one) {200 * times['textbook'] / times['many']:.0f} times ours;"
        f" the fit alone {times['fit'] / one:.2f}, Fisher for 200 counts"
        f" {times['fisher'] / one:.2f} of 1 count; largest difference to the textbook {worst:.1e}"
    )


def report_bootstrap() -> None:
    times = in_turns(
        {
            "non-parametric": lambda: resampled("NON_PARAMETRIC"),
            "parametric": lambda: resampled("PARAMETRIC"),
            "library": loop_of_library_fits,
        },
        rounds=3,
    )
    each = times["library"] / LIBRARY_FITS
    print(f"bootstrap, {RESAMPLES} resamples; a reliability fit takes {each * 1e3:.1f} ms")
    for kind in ("non-parametric", "parametric"):
        ours = times[kind] / RESAMPLES
        print(f"  {kind}: {ours * 1e6:.2f} us per resample, the loop {each / ours:.0f} times that")


if __name__ == "__main__":
    report_ratio_limits("WEIBULL")
    report_ratio_limits("LOGNORMAL")
    report_bootstrap()
