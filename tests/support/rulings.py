"""
One answer to each question that the rules of the trade leave open, and the tests that hold it.

The numbers are those of the project's list of rulings; nothing but tests uses them. A test is
named by its file and its name; `tests/house/test_rulings.py` checks that each exists.
"""

from __future__ import annotations

from typing import NamedTuple

_R = "tests/analysis/reduction/test_"
_D = "tests/analysis/decision/test_"
_S = "tests/service/storage/test_"
_W = "tests/service/workflows/test_"
_I = "tests/service/intake/test_"
_F = "tests/flow/test_"


class Ruling(NamedTuple):
    """What was ruled, in our own words, and the tests that would fail if it were not so."""

    says: str
    tests: tuple[str, ...]


RULINGS: dict[str, Ruling] = {
    "1": Ruling(
        "The worst case over the shape range decides; the assumed shape is for display.",
        (
            f"{_D}weibayes_plan.py::test_the_worst_shape_may_lie_inside_the_range",
            f"{_D}evaluation.py::test_the_sound_lot_of_the_scenario_is_accepted_at_its_worst_shape",
        ),
    ),
    "2": Ruling(
        "A Weibayes plan ends at the sum reached, at too many failures, or when all ended short.",
        (
            f"{_D}verdict.py::test_the_sum_decides_and_not_the_number_of_units",
            f"{_D}verdict.py::test_a_lot_whose_units_have_all_ended_short_is_refused",
            f"{_D}verdict.py::test_places_for_spares_keep_a_short_lot_going",
            f"{_D}verdict.py::test_a_stopped_unit_that_may_resume_keeps_a_short_lot_going",
        ),
    ),
    "3": Ruling(
        "The reason codes of a verdict; too many failures refuse although the limit meets R.",
        (
            f"{_D}verdict.py::test_one_failure_more_than_allowed_refuses_although_the_limit_still"
            "_meets_the_requirement",
            f"{_D}reasons.py::test_too_many_failures_are_told_with_the_number_allowed",
            f"{_D}verdict.py::test_a_missing_check_at_the_end_is_said_beside_the_unfinished_plan",
        ),
    ),
    "4": Ruling(
        "Shown below: the largest upper limit over the range is below R; undecided units survive.",
        (
            f"{_D}weibayes_plan.py::test_the_upper_limit_takes_the_largest_sum_the_lives_allow",
            f"{_D}attribute.py::test_the_upper_limit_takes_undecided_units_for_survivors",
        ),
    ),
    "5": Ruling(
        "A bracket is credited at its low end; across the target it is a failure for acceptance "
        "and a survivor for caution.",
        (
            f"{_D}counting.py::test_caution_credits_the_low_end_and_turned_round_the_high_end",
            f"{_D}attribute.py::test_the_view_takes_a_bracket_across_the_target_for_both",
        ),
    ),
    "6": Ruling(
        "Counting at the target needs no shape; beyond it R is raised to ratio**shape, worst "
        "over the range, and every failure up to the planned cycles counts.",
        (
            f"{_D}attribute.py::test_at_the_target_the_requirement_is_itself_whatever_the_shape",
            f"{_D}attribute.py::test_beyond_the_target_the_lowest_shape_asks_most_of_a_lot_to_be"
            "_accepted",
            f"{_D}attribute.py::test_every_failure_up_to_the_planned_cycles_counts",
        ),
    ),
    "7": Ruling(
        "A registered lot without rows goes on, NO_DATA; a late specification is a mark.",
        (
            f"{_D}verdict.py::test_a_lot_without_a_cycle_has_no_data",
            f"{_D}evaluation.py::test_a_registered_lot_without_rows_waits_for_data",
            f"{_W}evaluate_lot.py::test_a_specification_that_came_after_the_first_row_is_marked",
        ),
    ),
    "8": Ruling(
        "A full counter followed by 0 or by 1 is a wrap with no cycle missing.",
        (
            f"{_F}rulings.py::test_a_full_counter_goes_on_at_zero_or_one_with_no_cycle_missing",
            f"{_R}lives.py::test_resets_and_wraps_are_told_apart",
        ),
    ),
    "9": Ruling(
        "Equal within 1e-6 after conversion is a duplicate; of conflicting rows the first "
        "received stands, best and worst take either.",
        (
            f"{_S}arrivals_repeats.py::test_every_row_is_stored_a_duplicate_or_conflicting_as_the"
            "_reference_says",
            f"{_S}arrivals_repeats.py::test_the_first_received_of_two_conflicting_rows_counts",
            f"{_R}lives.py::test_conflicting_rows_take_either_reading_and_keep_the_first_received",
        ),
    ),
    "10": Ruling(
        "The odometer orders its own station, start times order between stations; an order that "
        "nothing tells is held where it changes a life.",
        (
            f"{_R}order.py::test_the_odometer_wins_over_a_clock_that_jumped_back",
            f"{_R}lives.py::test_an_order_that_nothing_tells_is_held_where_it_changes_a_life",
            f"{_R}lives.py::test_an_order_that_changes_no_life_is_no_hold",
            f"{_F}nasty_cases.py::test_a_clock_that_was_set_back_swaps_no_runs",
        ),
    ),
    "11": Ruling(
        "Missing rows are a finding and no hold: no credit for a survivor, a wider bracket for a "
        "failure, healed when they arrive.",
        (
            f"{_F}holds_from_rows.py::test_a_survivor_of_missing_rows_gets_no_credit_for_them_and"
            "_no_hold",
            f"{_F}holds_from_rows.py::test_a_failure_right_after_missing_rows_is_a_bracket_until"
            "_they_arrive",
            f"{_F}rules_from_rows.py::test_rows_missing_before_a_finding_widen_its_bracket",
        ),
    ),
    "12": Ruling(
        "A stretch ends a median spacing after its last start; overlaps of serials or stations "
        "are an identity conflict.",
        (
            f"{_R}identity.py::test_a_stretch_lasts_to_the_end_of_its_last_cycle",
            f"{_F}holds_from_rows.py::test_two_units_on_one_station_at_one_time_are_both_held",
            f"{_W}shared_stations.py::test_the_next_unit_may_begin_with_the_next_cycle",
        ),
    ),
    "13": Ruling(
        "A station move needs no event.",
        (f"{_F}rulings.py::test_a_unit_moves_to_another_station_without_an_event",),
    ),
    "14": Ruling(
        "Limits include both ends; the band is the specification's, never the row's set pressure.",
        (
            f"{_S}summaries.py::test_a_pressure_on_the_limit_counts_in_bar_and_psi",
            f"{_F}rulings.py::test_the_set_pressure_of_a_row_moves_no_band",
        ),
    ),
    "15": Ruling(
        "NaN in a needed column refuses the file, in an optional one it is not recorded; a peak "
        "at or below 0 or above 1.5 times full scale is no reading.",
        (
            f"{_S}arrivals.py::test_a_bad_file_is_refused_with_its_own_code_and_leaves_nothing",
            f"{_S}arrivals_checks.py::test_an_optional_number_may_be_missing_in_any_way",
            f"{_R}rules.py::test_no_reading_begins_at_one_and_a_half_times_full_scale",
        ),
    ),
    "16": Ruling(
        "Full scale stands with the rig; peaks at it are held: best counts them, worst does not.",
        (
            f"{_F}holds_from_rows.py::test_peaks_at_the_full_scale_of_the_sensor_are_held",
            f"{_R}cycle_doubts.py::test_peaks_at_full_scale_count_at_best_and_do_not_at_worst",
            f"{_R}cycle_doubts.py::test_fewer_clipped_peaks_than_the_specification_names_ask"
            "_nothing",
        ),
    ),
    "17": Ruling(
        "The share under pressure is of test cycles up to the ending; above its limit, or one "
        "cycle over the invalidation limit, is held and void at worst.",
        (
            f"{_R}cycle_doubts.py::test_only_cycles_up_to_the_ending_make_the_share",
            f"{_F}holds_from_rows.py::test_too_large_a_share_of_cycles_under_pressure_is_held",
            f"{_F}holds_from_rows.py::test_one_cycle_over_the_invalidation_limit_is_held",
        ),
    ),
    "18": Ruling(
        "A calibration's true pressure is (reading - offset) / gain; what it disqualifies is held "
        "under its own name and never makes a cannot-build.",
        (
            f"{_R}sensor_corrections.py::test_the_quoted_pressures_come_back",
            f"{_W}sensor_corrections.py::test_a_cycle_that_counted_on_its_reading_is_found_out",
            f"{_F}calibrations.py::test_three_survivors_of_the_station_are_held_and_once_void_the"
            "_lot_goes_on",
        ),
    ),
    "19": Ruling(
        "A ratio of peak to set pressure near a factor between units, and instants without a "
        "zone, refuse the file.",
        (
            f"{_S}arrivals_units.py::test_a_ratio_near_the_factor_between_two_units_is_refused",
            f"{_S}arrivals.py::test_a_bad_file_is_refused_with_its_own_code_and_leaves_nothing",
        ),
    ),
    "19b": Ruling(
        "An unknown column refuses the file and names the nearest; x_ columns are ignored.",
        (
            f"{_I}columns.py::test_an_unknown_column_is_refused_with_the_nearest_name",
            f"{_I}columns.py::test_a_column_that_begins_with_x_is_ignored_whatever_it_holds",
        ),
    ),
    "20": Ruling(
        "An exact life is the number of the counted cycle that failed first.",
        (
            f"{_R}failures.py::test_a_sustained_decay_is_the_first_cycle_of_its_run",
            f"{_R}endings.py::test_a_burst_in_a_cycle_that_counts_or_not_is_credited_what_was"
            "_counted",
        ),
    ),
    "21": Ruling(
        "Persistence is so many cycles in a row or a mean of three: uncounted cycles and a new "
        "run do not break it, a gap, a move or a recalibration does.",
        (
            f"{_S}summaries.py::test_uncounted_cycles_neither_count_in_a_streak_nor_break_it",
            f"{_R}failures.py::test_a_streak_goes_on_over_a_new_run",
            f"{_R}failures.py::test_a_move_to_another_station_breaks_a_streak",
            f"{_F}rules_from_rows.py::test_a_moving_average_goes_on_over_a_stop",
            f"{_R}decay_means.py::test_a_move_or_a_missing_first_counter_breaks_it",
        ),
    ),
    "22": Ruling(
        "Sustained decay, burst, and cannot-build beside healthy neighbours are failures at once.",
        (
            f"{_R}failure_analysis.py::test_without_a_record_a_failure_is_unanalysed_and_takes_the"
            "_gravest_mode",
            f"{_R}lives.py::test_pressure_that_can_not_be_built_is_a_failure_a_rig_stop_or_a_hold",
        ),
    ),
    "23": Ruling(
        "Cannot build: a running neighbour makes it the unit's, two stations within a minute the "
        "rig's, nobody to ask a hold.",
        (
            f"{_R}cannot_build.py::test_with_a_neighbour_that_ran_on_it_was_the_unit",
            f"{_R}cannot_build.py::test_two_stations_within_the_window_are_the_rig",
            f"{_R}cannot_build.py::test_alone_on_its_supply_nobody_can_tell",
            f"{_R}stops.py::test_a_stations_supply_is_the_rigs_unless_the_rig_says_otherwise",
        ),
    ),
    "24": Ruling(
        "After a low-fluid stop every unit of the supply is held until it was looked at.",
        (
            f"{_R}questions.py::test_a_low_fluid_stop_asks_until_somebody_looks",
            f"{_R}questions.py::test_a_dry_unit_after_the_low_fluid_stop_heals",
            f"{_F}nasty_cases.py::test_a_leaker_topped_up_after_a_low_fluid_stop_is_no_survivor",
        ),
    ),
    "25": Ruling(
        "An open stretch is running; one that ended without a mapped reason is held.",
        (
            f"{_R}questions.py::test_a_missing_reason_asks_unless_the_run_goes_on",
            f"{_R}lives.py::test_an_open_stop_is_a_suspension_at_best_and_a_failure_there_at_worst",
        ),
    ),
    "26": Ruling(
        "A run-out is the planned count, by what was counted; the rig's word alone suspends.",
        (
            f"{_R}endings.py::test_the_planned_count_makes_a_run_out_and_the_life_is_the_true"
            "_count",
            f"{_R}endings.py::test_done_by_the_rig_but_not_by_the_count_is_a_suspension_that_says"
            "_so",
            f"{_D}terms.py::test_credit_stops_at_the_planned_cycles_or_at_the_target",
        ),
    ),
    "27": Ruling(
        "An end check is required where a relevant mode hides until an inspection; inspections "
        "are located by run and counter, else by time.",
        (
            f"{_R}endings.py::test_where_modes_hide_a_run_out_waits_for_its_clean_end_check",
            f"{_R}order.py::test_an_inspection_is_placed_by_run_and_counter",
            f"{_R}order.py::test_without_a_known_run_an_inspection_is_placed_by_its_time",
        ),
    ),
    "28": Ruling(
        "A scheduled removal suspends, one for a symptom is held; the step of a possible swap is "
        "the specification's.",
        (
            f"{_R}questions.py::test_a_scheduled_removal_asks_nothing",
            f"{_R}lives.py::test_a_removal_on_suspicion_is_suspended_at_best_and_failed_at_worst",
            f"{_R}swaps.py::test_without_a_step_in_the_specification_nothing_asks",
        ),
    ),
    "29": Ruling(
        "The other holds; a hold is listed on its unit and on its lot.",
        (
            f"{_D}lot_states.py::test_a_hold_listed_on_unit_and_lot_is_one_hold",
            f"{_R}lives.py::test_a_unit_with_rows_and_a_declared_life_is_held_with_either",
            f"{_R}questions.py::test_an_inspection_is_overdue_one_cycle_after_its_interval",
        ),
    ),
    "30": Ruling(
        "Totals are over all distinct rows, with those up to the ending beside them.",
        (f"{_R}lives.py::test_totals_are_over_all_rows_and_up_to_the_ending_beside_them",),
    ),
    "31": Ruling(
        "Onset before the baseline is complete is no baseline; brackets are in counted cycles, "
        "the low end pulled back by dead band over slope.",
        (
            f"{_R}onset.py::test_growth_before_the_baseline_is_complete_is_no_baseline_and_never"
            "_no_onset",
            f"{_R}onset.py::test_the_low_end_is_pulled_back_by_dead_band_over_slope",
        ),
    ),
    "32": Ruling(
        "The sample of an unregistered lot is every serial seen.",
        (f"{_W}gather_evidence.py::test_without_a_list_every_serial_seen_is_the_sample",),
    ),
    "33": Ruling(
        "Silence is a hold: running at best, failed at the last verified point at worst; the "
        "clock is the newest row of the unit's rig.",
        (
            f"{_R}lives.py::test_silence_is_running_at_best_and_a_failure_at_the_verified_point_at"
            "_worst",
            f"{_W}gather_evidence.py::test_another_rigs_clock_makes_nobody_overdue",
        ),
    ),
    "34": Ruling(
        "Best and worst of each other hold.",
        (
            f"{_R}doubts.py::test_a_stretch_that_may_be_another_units_is_this_ones_at_best_and"
            "_voids_it_at_worst",
            f"{_R}lives.py::test_a_serial_outside_the_sample_counts_at_best_and_is_void_at_worst",
            f"{_R}lives.py::test_low_fluid_is_clean_at_best_and_a_failure_since_the_last_look_at"
            "_worst",
            f"{_R}swaps.py::test_a_possible_swap_is_the_same_unit_at_best_and_failed_at_the_step"
            "_at_worst",
            f"{_R}cycle_doubts.py::test_many_cells_that_say_nothing_are_met_at_best_and_not"
            "_counted_at_worst",
            f"{_R}calibration_doubts.py::test_believed_the_unit_is_void",
        ),
    ),
    "35": Ruling(
        "An exact failure is credited in full until its record finds hidden damage.",
        (
            f"{_R}endings.py::test_a_failure_seen_exactly_stands_against_an_inspection_that_finds"
            "_one_later",
            f"{_R}failure_analysis.py::test_hidden_damage_that_is_older_makes_an_exact_life_a"
            "_bracket",
        ),
    ),
    "36": Ruling(
        "A void unit keeps its place; a failure after the credit is shown and does not count.",
        (
            f"{_D}attribute.py::test_a_void_unit_decides_nothing",
            f"{_R}lives.py::test_a_failure_after_all_that_is_credited_is_shown_as_such",
            f"{_D}verdict.py::test_a_failure_beyond_the_planned_cycles_refuses_nothing",
        ),
    ),
    "37": Ruling(
        "One critical failure refuses at once; an unanalysed failure takes the gravest mode that "
        "shows in its way.",
        (
            f"{_D}verdict.py::test_one_critical_failure_refuses_at_once_even_where_a_failure_is"
            "_allowed",
            f"{_R}modes.py::test_an_unanalysed_failure_takes_the_gravest_mode_that_shows_in_its"
            "_way",
        ),
    ),
    "38": Ruling(
        "What is no reading; a single silent cell costs its cycle, an absent column or a large "
        "share is a hold.",
        (
            f"{_S}summaries.py::test_stage_one_counts_and_finds_what_a_slow_walk_over_the_rows"
            "_does",
            f"{_R}cycle_doubts.py::test_a_few_cells_that_say_nothing_cost_their_cycles_and_ask"
            "_nothing",
            f"{_R}cycle_doubts.py::test_an_absent_column_and_silent_cells_are_one_hold_with_both"
            "_readings",
        ),
    ),
    "39": Ruling(
        "For shown-below every plan takes undecided units as survivors to the planned cycles.",
        (f"{_D}weibayes_plan.py::test_undecided_units_are_survivors_for_the_upper_limit",),
    ),
    "40": Ruling(
        "A specification that had to come before the data and did not holds the lot.",
        (f"{_D}verdict.py::test_a_specification_that_came_late_bars_acceptance_and_nothing_else",),
    ),
    "41": Ruling(
        "Declared thinning is credited between counted neighbours as inferred cycles; a failure "
        "in it, or behind missing rows, is a bracket.",
        (
            f"{_F}rules_from_rows.py::test_declared_thinning_is_credited_between_counted"
            "_neighbours",
            f"{_F}rules_from_rows.py::test_a_failure_in_thinned_rows_lies_after_the_counted_row"
            "_before",
            f"{_S}summaries.py::test_thinned_logging_is_read_as_a_slow_walk_over_the_rows_does",
            f"{_R}endings.py::test_a_failure_right_after_missing_rows_lies_between_the_cycles"
            "_around_them",
        ),
    ),
    "42": Ruling(
        "A burst is the fall of peak or dwell end below its limit with which a stretch ends; the "
        "supply must be in range to speak against a unit.",
        (
            f"{_S}summaries.py::test_a_burst_is_the_fall_of_peak_or_dwell_in_the_last_cycle_of_a"
            "_test_mode",
            f"{_R}cannot_build.py::test_a_supply_out_of_range_does_not_speak_against_the_unit",
        ),
    ),
    "43": Ruling(
        "The order of the reasons why a cycle does not count; all are kept, sums use the first.",
        (
            f"{_F}rulings.py::test_reasons_come_in_their_order_and_the_first_one_counts",
            f"{_R}summaries.py::test_a_cycle_with_two_reasons_is_counted_once_by_the_first_and"
            "_listed_under_both",
        ),
    ),
    "44": Ruling(
        "The codes with which a file is refused.",
        (
            f"{_S}arrivals.py::test_a_bad_file_is_refused_with_its_own_code_and_leaves_nothing",
            "tests/service/api/test_upload_refusals.py"
            "::test_a_bad_table_is_refused_and_changes_nothing",
            "tests/service/api/test_upload_refusals.py"
            "::test_a_body_over_the_limit_is_refused_whether_or_not_its_length_is_stated",
        ),
    ),
    "45": Ruling(
        "A calibration's offset is in MPa and corrects every pressure of its sensor.",
        (
            f"{_W}sensor_corrections.py::test_decay_is_judged_on_true_pressures",
            f"{_W}sensor_corrections.py::test_a_cycle_that_was_short_on_its_reading_counts_if_it"
            "_was_not",
        ),
    ),
}
