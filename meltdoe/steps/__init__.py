"""The verbs: one short function a step. The only place where files and numbers meet.

A function that takes a folder reads what it needs from there; one that takes a series works on that.
"""

from meltdoe.steps.bench import write_sheets, write_workbook
from meltdoe.steps.glass import glass_of_folder, glass_problems, pour_remarks, refuse_weighed, shelf_of, shop
from meltdoe.steps.learning import add_to_plan, advise, fit_folder
from meltdoe.steps.planning import compare_plans, draw_up_plan, rehearse_folder
from meltdoe.steps.reading import notice_edits, plan_or_none, read_log, read_plan, read_series
from meltdoe.steps.setting_out import (
    assumed,
    begin_from_answers,
    begin_from_example,
    check_folder,
    example_folder,
    example_names,
    not_checked,
    rebuild_log,
    refuse_begun,
    remarks_on_log,
    waiting_edits,
)
from meltdoe.steps.settings_table import read_settings
from meltdoe.steps.writing import write_figures, write_report, write_report_files

__all__ = [
    "add_to_plan",
    "advise",
    "assumed",
    "begin_from_answers",
    "begin_from_example",
    "check_folder",
    "compare_plans",
    "draw_up_plan",
    "example_folder",
    "example_names",
    "fit_folder",
    "glass_of_folder",
    "glass_problems",
    "not_checked",
    "notice_edits",
    "plan_or_none",
    "pour_remarks",
    "read_log",
    "read_plan",
    "read_series",
    "read_settings",
    "rebuild_log",
    "refuse_begun",
    "refuse_weighed",
    "rehearse_folder",
    "remarks_on_log",
    "shelf_of",
    "shop",
    "waiting_edits",
    "write_figures",
    "write_report",
    "write_report_files",
    "write_sheets",
    "write_workbook",
]
