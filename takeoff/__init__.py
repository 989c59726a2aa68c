"""Quantities, formwork and a priced bill for concrete structures, measured from IFC building models."""

__version__ = "0.1.0"
