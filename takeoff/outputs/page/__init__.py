"""The page: a run as one self-contained HTML file, with the model to look at beside the bill."""
