"""The priced bill as a workbook with live formulas, one file a sheet."""

from takeoff.outputs.workbook.book import SHEETS, write_workbook

__all__ = ["SHEETS", "write_workbook"]
