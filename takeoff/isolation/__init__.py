"""Processes that stand between the program and what files can do to a parser or a geometry kernel."""
