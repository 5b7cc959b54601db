"""Every unit of a sample is accounted for: drawn + substituted = tested + waiting + excluded."""

from __future__ import annotations

from lives import life, not_started, outcome
from msgspec import UNSET, structs

from analysis.decision.sample_figures import SampleRecord, sample_figures

RUN_OUT = outcome("RUN_OUT", 1_000)
VOID = outcome("VOID", 0)


def test_a_drawn_sample_with_a_void_unit_and_its_spare_adds_up() -> None:
    outside = life("X-1", RUN_OUT)
    lives = [
        life("A-1", RUN_OUT),
        life("A-2", VOID),
        life("A-7", RUN_OUT),
        not_started("A-3"),
        structs.replace(outside, marks=[*outside.marks, "NOT_IN_SAMPLE"]),
    ]
    record = SampleRecord(
        is_listed=True,
        draw_keys=["d1"],
        drawn=["A-1", "A-2", "A-3"],
        spares=["A-7", "A-9"],
        substituted={"A-2": "A-7"},
    )
    found = sample_figures(lives, record)
    assert (found.basis, found.drawn_count, found.substituted_count) == ("DRAWN", 3, 1)
    assert (found.tested_count, found.not_started_count, len(found.excluded)) == (2, 1, 1)
    assert (found.excluded[0].unit_serial, found.excluded[0].substituted_by) == ("A-2", "A-7")
    assert (found.spares_left, found.outside_serials) == (["A-9"], ["X-1"])


def test_a_void_unit_without_a_substitute_stays_excluded() -> None:
    found = sample_figures([life("A-1", VOID)], SampleRecord(is_listed=True))
    assert (found.basis, found.drawn_count, found.tested_count) == ("LISTED", 1, 0)
    assert found.excluded[0].substituted_by is UNSET
    assert found.excluded[0].reasons == ["VOID"]


def test_without_a_list_every_serial_seen_is_the_sample() -> None:
    found = sample_figures([life("A-1", RUN_OUT)], SampleRecord(is_listed=False))
    assert (found.basis, found.drawn_count, found.tested_count) == ("SEEN", 1, 1)
