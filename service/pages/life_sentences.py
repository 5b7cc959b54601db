"""Sentences about one unit: its ending, why its life is what it is, and its open items."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from msgspec import UNSET

from schemas.decisions import UnitLine
from schemas.holds import Alternative, HoldEvidence
from schemas.lives import FailureSeen, Outcome, UnitLife
from schemas.specs import Persistence, Spec
from service.pages import failure_wording, units, wording
from service.pages.units import NO_BREAK, PressureUnit, counted
from service.pages.wording import say

QUANTITIES: dict[str, str] = {
    "under_pressure_share": "share of cycles short of pressure",
    "not_recorded_share": "share of cycles without the value",
    "pressure_peak_mpa": "highest peak",
    "pressure_decay_mpa": "step of the pressure decay",
    "rise_time_s": "step of the rise time",
    "gained_cycles": "cycles that count on true pressures only:",
}
"""What the evidence of an open item measures."""


def ending_text(line: UnitLine) -> str:
    """
    Ending of a unit in words, with its life.

    Examples
    --------
    >>> line = UnitLine(unit_id="u", unit_serial="S1", ending="FAILED", counted_cycles=163_619,
    ...     credited_cycles=163_619, plan_credit_cycles=163_619, marks=[], hold_names=[],
    ...     cycles=163_619)
    >>> ending_text(line)
    'failed at 163,619'
    """
    words = say(wording.ENDINGS, line.ending)
    if line.cycles_low is not UNSET and line.cycles_high is not UNSET:
        low, high = units.count_text(line.cycles_low), units.count_text(line.cycles_high)
        return f"{words} {low} and {high}"
    if line.ending == "VOID":
        return words
    return f"{words} at {units.count_text(reached_cycles(line))}"


def reached_cycles(line: UnitLine) -> int:
    """The exact life, or the counted cycles that the unit has reached."""
    return line.cycles if line.cycles is not UNSET else line.counted_cycles


def alternative_text(alternative: Alternative) -> str:
    """A unit's life under one way of deciding an open item."""
    words = say(wording.ENDINGS, alternative.ending)
    if alternative.ending == "VOID":
        return words
    return f"{words} at {units.count_text(alternative.credited_cycles)} credited cycles"


def evidence_text(evidence: HoldEvidence) -> str:
    """Where in the rows an open item comes from."""
    parts: list[str] = []
    for label, value in (
        ("rig", evidence.rig_id),
        ("run", evidence.run_id),
        ("station", evidence.station_no),
    ):
        if value is not UNSET:
            parts.append(f"{label} {value}")
    if evidence.from_cycle_in_run is not UNSET:
        text = f"cycle {units.count_text(evidence.from_cycle_in_run)}"
        if evidence.to_cycle_in_run is not UNSET:
            text += f" to {units.count_text(evidence.to_cycle_in_run)}"
        parts.append(text)
    if evidence.cycles is not UNSET:
        parts.append(counted(evidence.cycles, "cycle", "cycles"))
    if evidence.raw_code is not UNSET:
        parts.append(f"code {evidence.raw_code}")
    return ", ".join([*parts, *_figures(evidence), *_sensor(evidence), *_elsewhere(evidence)])


def _figures(evidence: HoldEvidence) -> Iterator[str]:
    """What was measured, beside the limit that it passed."""
    if evidence.quantity is UNSET or evidence.measured is UNSET:
        return
    name = evidence.quantity
    text = f"{QUANTITIES.get(name, name)} {_measure(name, evidence.measured)}"
    if evidence.limit is not UNSET:
        text += f" (limit {_measure(name, evidence.limit)})"
    yield text


def _sensor(evidence: HoldEvidence) -> Iterator[str]:
    """A sensor that was off, and by how much."""
    if evidence.sensor_id is not UNSET:
        error = f"gain {evidence.gain:.6g}, offset {evidence.offset_mpa:.4g}{NO_BREAK}MPa"
        yield f"sensor {evidence.sensor_id} ({error})"


def _elsewhere(evidence: HoldEvidence) -> Iterator[str]:
    """The unit that was in the same place, and when."""
    if evidence.other_unit_serial is not UNSET:
        lot = "" if evidence.other_lot_number is UNSET else f" of lot {evidence.other_lot_number}"
        yield f"at the same time as unit {evidence.other_unit_serial}{lot}"
    if evidence.from_at is not UNSET and evidence.to_at is not UNSET:
        yield f"{units.instant_text(evidence.from_at)} to {units.instant_text(evidence.to_at)}"


def _measure(quantity: str, value: float) -> str:
    """A value in the unit that its quantity's name ends in; a share in percent."""
    if quantity.endswith("_cycles"):
        return units.count_text(round(value))
    if quantity.endswith("_share"):
        return f"{100 * value:.3g}{NO_BREAK}%"
    return f"{value:.4g}{NO_BREAK}{'MPa' if quantity.endswith('_mpa') else 's'}"


def marks_text(marks: Iterable[str]) -> str:
    """Marks of a unit in words."""
    return "; ".join(say(wording.MARKS, mark) for mark in marks)


def failure_mode_text(mode: str) -> str:
    """A mode as its author wrote it; the one the service names is put into words."""
    return wording.FAILURE_MODES.get(mode, mode)


def life_text(life: UnitLife) -> str:
    """Ending of a unit in words, with its life, as the headline of its page."""
    words = say(wording.ENDINGS, life.ending)
    words = words[0].upper() + words[1:]
    if life.cycles_low is not UNSET and life.cycles_high is not UNSET:
        low, high = units.count_text(life.cycles_low), units.count_text(life.cycles_high)
        return f"{words} {low} and {high} counted cycles"
    if life.ending == "VOID":
        return words
    reached = life.cycles if life.cycles is not UNSET else life.up_to_ending.counted_cycles
    return f"{words} at {units.count_text(reached)} counted cycles"


def life_reasons(life: UnitLife, *, spec: Spec | None, unit: PressureUnit) -> list[str]:
    """
    Why a life is what it is, sentence by sentence.

    Parameters
    ----------
    life : UnitLife
        The life.
    spec : Spec or None, keyword only
        The specification, for the limit that was passed.
    unit : {"mpa", "bar", "psi"}, keyword only
        The reader's unit of pressure.
    """
    sentences = [wording.ENDINGS_EXPLAINED.get(life.ending, "")]
    if life.failure is not UNSET:
        sentences += _failure_sentences(life.failure, spec, unit)
    if life.after_credit:
        sentences.append(wording.AFTER_CREDIT)
    sentences.append(_credit_sentence(life))
    return [sentence for sentence in sentences if sentence]


def outcome_text(outcome: Outcome) -> str:
    """A unit's result under one way of deciding its open items."""
    words = say(wording.ENDINGS, outcome.ending)
    credited = f"{units.count_text(outcome.credited_cycles)} cycles credited"
    if outcome.cycles_low is not None and outcome.cycles_high is not None:
        low, high = units.count_text(outcome.cycles_low), units.count_text(outcome.cycles_high)
        return f"{words} {low} and {high}, {credited}"
    if outcome.cycles is None or outcome.ending == "VOID":
        return f"{words}, {credited}"
    return f"{words} at {units.count_text(outcome.cycles)}, {credited}"


def _failure_sentences(failure: FailureSeen, spec: Spec | None, unit: PressureUnit) -> list[str]:
    """How the failure showed, where, and what is known of its mode."""
    seen = f"Seen as: {say(wording.SEEN_AS, failure.seen_as)}"
    if failure.seen_as == "DECAY" and spec is not None:
        seen += _decay_rule(spec, unit)
    place = []
    if failure.rig_id is not UNSET:
        place.append(failure.rig_id)
    if failure.run_id is not UNSET:
        place.append(f"run {failure.run_id}")
    if failure.cycle_in_run is not UNSET:
        place.append(f"cycle {units.count_text(failure.cycle_in_run)} of the run")
    if failure.inspection_key is not UNSET:
        place.append(f"inspection {failure.inspection_key}")
    sentences = [f"{seen}.", f"Where: {', '.join(place)}." if place else ""]
    critical = ", critical" if failure.critical else ""
    relevant = "relevant" if failure.relevant else "not relevant"
    mode = failure_mode_text(failure.failure_mode)
    sentences.append(f"Failure mode: {mode} ({relevant}{critical}).")
    if failure.counts_less:
        sentences.append(failure_wording.COUNTS_LESS)
    if failure.pending_mode is not UNSET:
        sentences.append(failure_wording.PENDING_MODE.format(mode=failure.pending_mode))
    return sentences


def _decay_rule(spec: Spec, unit: PressureUnit) -> str:
    """The limit and for how long it must be passed."""
    limit, persistence = spec.failure.decay_limit_mpa, spec.failure.persistence
    text = f" of {units.pressure_both_text(limit, unit)}" if limit is not None else ""
    return text + (_persistence_text(persistence) if persistence is not None else "")


def _persistence_text(persistence: Persistence) -> str:
    cycles = counted(persistence.cycles, "counted cycle", "counted cycles")
    if persistence.rule == "MOVING_AVERAGE":
        return f", by the moving average of {cycles}"
    return f", for {cycles} one after another"


def _credit_sentence(life: UnitLife) -> str:
    """Credited cycles, and why they may be fewer than the counted ones."""
    credited, reached = life.credited_cycles, life.up_to_ending.counted_cycles
    text = f"Credited: {units.count_text(credited)} of {units.count_text(reached)} counted cycles"
    if credited == reached:
        return f"{text}."
    if life.ending == "VOID":
        return f"{text}, because the unit is void."
    if credited == life.verified_cycles:
        return f"{text}: credit ends where the unit was last verified."
    return f"{text}."
