"""The comparison of alternatives as a workbook and as tables."""
