"""Bill items, rates and markups. Knows no geometry."""
