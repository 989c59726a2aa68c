"""The steps from one version of the history's tables to the next."""
