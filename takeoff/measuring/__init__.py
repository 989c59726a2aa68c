"""Methods, conventions, volumes, formwork, reinforcement and pieces. Knows no IFC and no prices."""
