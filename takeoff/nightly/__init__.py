"""Every night a folder of models: found, measured apart, remembered, told."""
