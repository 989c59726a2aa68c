"""A pass over the model folder that is done, in figures."""

from datetime import datetime

from msgspec import Struct


class Pass(Struct, frozen=True):
    """What a finished pass did, for whoever tells it. `measured` counts versions that were kept."""

    run: int
    started: datetime
    models: int
    unchanged: int
    measured: int
    failed: int
    waiting: int
    removed: int
    remarks: tuple[str, ...]
    seconds: float
