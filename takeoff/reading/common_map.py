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


def building_frames(models: "Sequence[ModelFacts]") -> dict[str, Any]:
    """Matrices (4, 4) from the coordinates that the models share to those of each model's building, metres."""
    import numpy as np

    frames = {}
    for model, transform in map_transforms(models).items():
        frames[model] = np.eye(4) if transform is None else np.linalg.inv(transform)
    for facts in models:
        if facts.building is not None:
            frames[facts.model] = np.linalg.inv(np.array(facts.building).reshape(4, 4)) @ frames[facts.model]
    return frames
