"""A planned run knows how many of its rows count and where its counter ends."""

from service.demo.facts import RunPlan


def test_rows_count_unless_they_are_cold_or_short_of_pressure() -> None:
    run = RunPlan(
        run_no=1,
        run_id="L99-S1-001",
        station_no=1,
        start_us=0,
        row_count=100,
        cold_rows=20,
        preheated=True,
        short_bursts=((30, 4), (50, 1)),
        counted_before=0,
        odometer_before=0,
        stop_purpose="CHECK",
        reset_row=30,
        gap_row=60,
        gap_rows=10,
    )
    assert (run.short_rows, run.counted_cycles) == (5, 75)
    # Cycles that were not written were done all the same: they wear the unit.
    assert (run.logged_rows, run.last_cycle_in_run) == (90, 70)
