"""What is on record about a lot's sample, out of its facts."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.decision.sample_figures import SampleRecord
from schemas.sample_draws import SampleDraw
from service.storage.lot_facts import LotFacts


def sample_record(facts: LotFacts) -> SampleRecord:
    """The draws of a lot together, and which spare took which unit's place."""
    return sample_record_of(facts.draws, is_listed=any(unit.listed for unit in facts.units))


def sample_record_of(draws: Sequence[SampleDraw], *, is_listed: bool) -> SampleRecord:
    """The same from the draws and whether anybody listed a sample at all."""
    strata = [stratum for draw in draws for stratum in draw.strata]
    return SampleRecord(
        is_listed=is_listed,
        draw_keys=[draw.draw_key for draw in draws],
        drawn=[serial for stratum in strata for serial in stratum.drawn],
        spares=[serial for stratum in strata for serial in stratum.spares],
        substituted={
            each.void_serial: each.spare_serial for draw in draws for each in draw.substitutions
        },
    )
