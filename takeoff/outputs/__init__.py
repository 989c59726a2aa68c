"""Tables and workbook. Computes nothing that a stage before it should have computed."""
