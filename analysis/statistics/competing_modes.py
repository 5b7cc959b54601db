"""Several failure modes in one lot: a Weibull for each, and the reliability against all."""

import math
from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike

from analysis.checks import BoolArray, FloatArray, check_fraction, check_not_negative
from analysis.errors import DidNotConvergeError, OutsideDomainError
from analysis.statistics.life_fit import life_fit
from analysis.statistics.life_records import life_records
from schemas.estimates import NotEstimable
from schemas.fits import LifeFit
from schemas.populations import CompetingModes, ModeBLife, ModeFit, ModeReliability

FEW_FAILURES = 5
"""A mode that rests on this many failures, or fewer, is named as such."""
_LOG_LARGEST = 709.0  # e**709 is close to the largest number a double holds.
_MOST_STEPS = 200
_LAST_STEP = 1e-14  # in ln(cycles), of its size


class ModeLives(Struct, frozen=True, kw_only=True):
    """
    Lives with the mode of each failure, '' where the life is unbroken; see `mode_lives`.

    Ends and counts are those of `LifeRecords`, in the order given and not folded.
    """

    low_cycles: FloatArray
    high_cycles: FloatArray
    counts: FloatArray
    modes: tuple[str, ...]


def competing_modes(
    lives: ModeLives,
    *,
    at_cycles: ArrayLike = (),
    fractions: ArrayLike = (),
) -> CompetingModes | NotEstimable:
    """
    Weibull life per failure mode, and the reliability against all modes together.

    Parameters
    ----------
    lives : ModeLives
        Lives with the mode of each failure, from `mode_lives`. Cycles.
    at_cycles : array_like of float, finite, >= 0, keyword only
        Counts at which the reliability is wanted. Cycles.
    fractions : array_like of float, 0 to 1 (open), keyword only
        Fractions failed whose lives (B-lives) are wanted.

    Returns
    -------
    CompetingModes or NotEstimable
        A fit, or the reason why there is none, for each mode that failed a unit; and the
        combination. ``NO_FAILURES`` where nothing failed, ``MODE_NOT_ESTIMABLE`` where no
        mode can be fitted.

    Raises
    ------
    OutsideDomainError
        If a count or fraction is outside its range.

    Notes
    -----
    For one mode a unit that failed of another is unbroken up to its failure; given that
    modes act independently the likelihood falls apart into one factor per mode, and the
    cumulative hazards add: ``R(t) = exp(-sum((t / eta_m)**beta_m))`` [1]_. That they are
    independent cannot be seen in such data. Whether removing one mode would leave the
    others as they are is a question of engineering.

    A mode with one failure below a longer life of any unit has a fit; it is vague. One
    that has none (its failures only at the longest life, say) makes the combination not
    estimable: a reliability without a mode that did fail units would be read as the
    reliability. What the other modes give is kept apart as `upper_estimate`, too high and
    never too low. For a bracketed failure the other modes' lives end at the low end of
    the bracket: what little they ran inside it is given up.

    References
    ----------
    .. [1] W. Nelson, "Applied Life Data Analysis", 1982, chapters 5 and 8. (From memory.)

    Examples
    --------
    Three seal failures, two cracks, seven units stopped unbroken at 200 000:

    >>> lives = mode_lives(
    ...     [90_000, 130_000, 160_000, 140_000, 180_000, 200_000],
    ...     [90_000, 130_000, 160_000, 140_000, 180_000, float("inf")],
    ...     ["SEAL", "SEAL", "SEAL", "CRACK", "CRACK", None],
    ...     counts=[1, 1, 1, 1, 1, 7],
    ... )
    >>> both = competing_modes(lives, at_cycles=[100_000], fractions=[0.1])
    >>> [(mode.mode, mode.failure_count, round(mode.fit.shape, 1)) for mode in both.modes]
    [('SEAL', 3, 2.4), ('CRACK', 2, 5.0)]
    >>> round(both.reliability[0].reliability, 3), round(both.b_lives[0].b_life_cycles)
    (0.934, 116917)
    """
    counts = [check_not_negative("at_cycles", value) for value in np.ravel(at_cycles).tolist()]
    shares = [check_fraction("fractions", value) for value in np.ravel(fractions).tolist()]
    records = life_records(
        lives.low_cycles, lives.high_cycles, counts=lives.counts.astype(np.int64)
    )
    if records.failure_count == 0:
        return NotEstimable(reason="NO_FAILURES")
    fits = [_mode_fit(lives, mode) for mode in dict.fromkeys(lives.modes) if mode]
    fitted = [mode.fit for mode in fits if isinstance(mode.fit, LifeFit)]
    if not fitted:
        return NotEstimable(reason="MODE_NOT_ESTIMABLE")
    missing = tuple(mode.mode for mode in fits if isinstance(mode.fit, NotEstimable))
    notes = {
        "MODES_MISSING": bool(missing),
        "FEW_FAILURES": any(fit.failure_count <= FEW_FAILURES for fit in fitted),
        "BRACKETS_APPROXIMATE": records.has_brackets and len(fits) > 1,
    }
    return CompetingModes(
        modes=tuple(fits),
        modes_missing=missing,
        reliability=tuple(_reliability(fitted, at, bool(missing)) for at in counts),
        b_lives=tuple(_b_life(fitted, share, bool(missing)) for share in shares),
        unit_count=records.unit_count,
        failure_count=records.failure_count,
        notes=tuple(code for code, applies in notes.items() if applies),
    )


def mode_lives(
    low_cycles: ArrayLike,
    high_cycles: ArrayLike,
    modes: Sequence[str | None],
    *,
    counts: ArrayLike | None = None,
) -> ModeLives:
    """
    Collect lives and the mode of each failure.

    Parameters
    ----------
    low_cycles, high_cycles, counts
        As in `life_records`.
    modes : sequence of str or None, shape (n,)
        Mode of each failure, by any name; None exactly where the life is unbroken.

    Returns
    -------
    ModeLives

    Raises
    ------
    OutsideDomainError
        As `life_records`, or if the modes do not match the lives.

    Examples
    --------
    >>> mode_lives([41_000, 60_000], [41_000, float("inf")], ["SEAL", None]).modes
    ('SEAL', '')
    """
    life_records(low_cycles, high_cycles, counts=counts)  # refuses what is wrong
    low = np.asarray(low_cycles, dtype=np.float64)
    high = np.asarray(high_cycles, dtype=np.float64)
    allowed = "one per life, None exactly where the life is unbroken"
    if len(modes) != low.size:
        raise OutsideDomainError("modes", f"{len(modes)} for {low.size} lives", allowed)
    for index, (mode, end) in enumerate(zip(modes, high, strict=True)):
        if bool(mode) == math.isinf(end):
            raise OutsideDomainError(f"modes[{index}]", mode, allowed)
    return ModeLives(
        low_cycles=low,
        high_cycles=high,
        counts=np.ones(low.size) if counts is None else np.asarray(counts, dtype=np.float64),
        modes=tuple(mode or "" for mode in modes),
    )


def _mode_fit(lives: ModeLives, mode: str) -> ModeFit:
    """Fit one mode; lives that ended otherwise are unbroken up to their low end."""
    own: BoolArray = np.array([each == mode for each in lives.modes])
    alone = life_records(
        lives.low_cycles,
        np.where(own, lives.high_cycles, math.inf),
        counts=lives.counts.astype(np.int64),
    )
    return ModeFit(mode=mode, failure_count=alone.failure_count, fit=life_fit(alone, "WEIBULL"))


def _reliability(fits: Sequence[LifeFit], at_cycles: float, is_missing: bool) -> ModeReliability:
    """Product of the modes' reliabilities at a count."""
    hazard = 0.0
    if at_cycles > 0.0:
        hazard = math.exp(min(_log_hazard(fits, math.log(at_cycles))[0], _LOG_LARGEST))
    product = math.exp(-hazard)
    return ModeReliability(
        at_cycles=at_cycles,
        reliability=NotEstimable(reason="MODE_NOT_ESTIMABLE") if is_missing else product,
        upper_estimate=product,
    )


def _b_life(fits: Sequence[LifeFit], fraction: float, is_missing: bool) -> ModeBLife:
    """Cycles by which a fraction has failed of any of the modes."""
    log_cycles = _log_b_life(fits, math.log(-math.log1p(-fraction)))
    cycles: float | NotEstimable = NotEstimable(reason="SCALE_NOT_REPRESENTABLE")
    if log_cycles <= _LOG_LARGEST:
        cycles = math.exp(log_cycles)
    return ModeBLife(
        fraction=fraction,
        b_life_cycles=NotEstimable(reason="MODE_NOT_ESTIMABLE") if is_missing else cycles,
        upper_estimate_cycles=cycles,
    )


def _log_b_life(fits: Sequence[LifeFit], log_hazard: float) -> float:
    """
    Logarithm of the cycles at which the summed hazard's logarithm is `log_hazard`.

    That logarithm is convex in ln(cycles), a smooth maximum of lines, so Newton's steps
    from above fall to the root without passing it. The earliest of the modes' own
    B-lives lies above.
    """
    place = min(fit.location + fit.spread * log_hazard for fit in fits)
    for _ in range(_MOST_STEPS):
        value, slope = _log_hazard(fits, place)
        step = (log_hazard - value) / slope
        place += step
        if abs(step) <= _LAST_STEP * (1.0 + abs(place)):
            return place
    raise DidNotConvergeError("B-life of all modes", f"{_MOST_STEPS} steps of Newton's method")


def _log_hazard(fits: Sequence[LifeFit], log_cycles: float) -> tuple[float, float]:
    """Logarithm of the summed cumulative hazards and its derivative by ln(cycles)."""
    logs = [(log_cycles - fit.location) / fit.spread for fit in fits]
    largest = max(logs)
    shares = [math.exp(each - largest) for each in logs]
    total = math.fsum(shares)
    slope = math.fsum(share / fit.spread for share, fit in zip(shares, fits, strict=True))
    return largest + math.log(total), slope / total
