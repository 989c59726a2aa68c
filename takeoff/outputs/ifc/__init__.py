"""What was measured, written back into the open standards of the model: IFC, BCF, IDS."""
