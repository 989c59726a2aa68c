"""Facts to solids, facets and contacts. Arrays in, arrays out; knows nothing of construction."""
