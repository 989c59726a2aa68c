"""Quantities, formwork and a priced bill for concrete structures, measured from IFC building models."""

__version__ = "0.1.0"

_LAZY = dict.fromkeys(("measure", "bill", "Measured", "Priced"), "takeoff.api") | {
    "InputError": "takeoff.findings"
}


def __getattr__(name: str) -> object:
    """The Python interface, imported where it is used so that the command line starts at once."""
    if name in _LAZY:
        from importlib import import_module

        return getattr(import_module(_LAZY[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
