"""Whether several models share one map system, and how each comes to it."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from takeoff.reading.facts import ModelFacts


def map_transforms(models: "Sequence[ModelFacts]") -> dict[str, Any]:
    """Model-to-map matrices where all of several models state one and the same map system, else None."""
    import numpy as np

    maps = {(model.map_name, model.map_conversion is not None) for model in models}
    use = len(models) > 1 and len(maps) == 1 and models[0].map_conversion is not None
    return {model.model: np.array(model.map_conversion).reshape(4, 4) if use else None for model in models}
