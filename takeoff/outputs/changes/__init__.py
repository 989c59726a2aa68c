"""What a revision did, as a workbook and as CSV."""
