"""IFC files to facts: units, storeys, materials, properties, declared quantities, reinforcing bars."""
