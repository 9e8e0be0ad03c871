"""What was once measured at the borders, each with the tests that hold it: those are there, and can fail."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
MEASURED: dict[str, tuple[str, ...]] = {
    "tracebacks on damaged scores": (
        "tests/borders/test_fuzz.py::test_a_sample_of_damaged_input",
        "tests/borders/test_fuzz.py::test_what_once_felled_a_command_is_answered",
        "tests/borders/test_failure.py::test_a_fault_is_one_line_and_a_private_report"),
    "the engraver dies and takes the command along": (
        "tests/borders/test_guard.py::test_an_engraver_that_dies_takes_no_command_with_it",
        "tests/borders/test_guard.py::test_a_death_is_one_line_and_the_next_piece_is_done"),
    "engraving and drill without a limit: one rest of 9,999,999": (
        "tests/borders/test_guard.py::test_a_rest_without_end_is_stopped",
        "tests/borders/test_guard.py::test_limits_strike_and_are_named"),
    "a tempo that is no number": (
        "tests/borders/test_text.py::test_options_take_finite_numbers",
        "tests/borders/test_text.py::test_limits_are_finite",
        "tests/borders/test_text.py::test_json_has_no_numbers_that_json_has_not"),
    "TOML: 6,000 digits, 20,000 lists, 20,000 dotted keys": (
        "tests/borders/test_readers.py::test_what_once_was_a_traceback_or_ran_on",
        "tests/borders/test_readers.py::test_any_text_as_toml",
        "tests/borders/test_readers.py::test_any_player_file",
        "tests/borders/test_readers.py::test_any_section_and_horn_file",
        "tests/borders/test_readers.py::test_any_table_of_readings"),
    "pipes and /dev/zero keep a command for ever": (
        "tests/borders/test_reads.py::test_no_file_is_one_line_at_once",
        "tests/borders/test_reads.py::test_a_process_substitution_is_told_to_be_saved_first",
        "tests/borders/test_stores.py::test_a_pipe_is_no_store"),
    "escape sequences, C1 and right-to-left codes reach a terminal": (
        "tests/borders/test_text.py::test_nothing_in_a_name_reaches_a_real_terminal",
        "tests/borders/test_text.py::test_a_part_name_steers_no_terminal",
        "tests/borders/test_text.py::test_pages_hold_no_steering_text",
        "tests/borders/test_text.py::test_printed_pages_hold_no_steering_text"),
    "cells that a spreadsheet runs as formulas": ("tests/borders/test_text.py::test_cells_are_no_formulas",),
    "-o puts a file in place of a link, a pipe or a device": (
        "tests/borders/test_writes.py::test_a_link_is_followed",
        "tests/borders/test_writes.py::test_what_is_no_regular_file_is_refused_at_once",
        "tests/borders/test_writes.py::test_a_command_refuses_a_pipe_without_a_reader",
        "tests/borders/test_writes.py::test_a_dash_is_standard_output"),
    "a writer that is killed leaves half a file": (
        "tests/borders/test_kills.py::test_a_kill_at_any_step_leaves_the_old_file_or_the_new_one",
        "tests/borders/test_kills.py::test_what_the_page_keeps_too",
        "tests/borders/test_kills.py::test_there_is_no_other_writer",
        "tests/library/test_survey_run.py::test_killed_at_any_moment_it_goes_on_and_ends_the_same",
        "tests/report/test_folders.py::test_killed_at_any_moment_leaves_only_whole_files_and_what_was_there"),
    "a store with a wrong interior": (
        "tests/borders/test_stores.py::test_a_damaged_record_is_worked_out_again",
        "tests/borders/test_stores.py::test_a_broken_store_is_refused_in_one_line",
        "tests/borders/test_stores.py::test_a_store_that_is_whole_is_used"),
    "a line break in a name prints a forged line": ("tests/borders/test_text.py::test_a_line_break_forges_no_line",),
    "NaN in a store comes back": ("tests/borders/test_stores.py::test_a_damaged_record_is_worked_out_again",),
    "a full disk behind standard output": (
        "tests/borders/test_failure.py::test_full_disk_on_standard_output_is_one_line",
        "tests/borders/test_failure.py::test_full_disk_in_help_and_for_standard_error"),
    "odd dates": ("tests/borders/test_dates.py::test_any_day",),
    "the page's key in the browser's command line": (
        "tests/web/test_serve.py::test_the_browser_s_command_line_and_the_terminal_do_not_hold_the_key",),
    "50 uploads hold 1.4 GB": (
        "tests/web/test_bounds.py::test_sixty_scores_below_500_mib",
        "tests/web/test_app.py::test_fifty_uploads_at_once_are_all_answered_and_few_are_held"),
    "a plan of 200,000 notes takes 67 s and 2.5 GB, and nobody can stop it": (
        "tests/web/test_bounds.py::test_many_notes_are_answered_or_refused",
        "tests/web/test_bounds.py::test_who_gives_up_stops_the_plan",
        "tests/web/test_app.py::test_more_notes_than_can_be_planned_at_once_are_refused_and_some_measures_are_not",
        "tests/web/test_jobs.py::test_a_job_that_nobody_waits_for_is_stopped_and_the_next_begins",
        "tests/web/test_jobs.py::test_work_that_takes_too_long_is_stopped",
        "tests/web/test_jobs.py::test_work_that_needs_too_much_memory_is_stopped"),
    "300 half-open connections": (
        "tests/web/test_serve.py::test_half_open_and_silent_connections_keep_nobody_out",
        "tests/web/test_bounds.py::test_a_hundred_clients_at_once_are_answered"),
    "stalled uploads, answers that nobody takes": (
        "tests/web/test_serve.py::test_stalled_uploads_keep_nobody_out",
        "tests/web/test_clients.py::test_who_takes_nothing_is_dropped",
        "tests/web/test_clients.py::test_others_are_answered_meanwhile"),
    "a new server loses the tab": (
        "tests/web/test_memory.py::test_all_is_found_again_after_a_kill_and_on_another_port",),
}


def _asserts(path: Path, name: str) -> bool:
    """Tell whether there is a test of this name, and whether anything in it can fail."""
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.FunctionDef) and node.name == name:
            return any(isinstance(each, ast.Assert) or (isinstance(each, ast.Attribute) and each.attr == "raises")
                       or (isinstance(each, ast.Name) and each.id == "_one_line") for each in ast.walk(node))
    return False


@pytest.mark.parametrize("item", MEASURED)
def test_each_has_its_tests(item: str) -> None:
    missing = [test for test in MEASURED[item] if not _asserts(ROOT / test.split("::")[0], test.split("::")[1])]
    assert missing == []
