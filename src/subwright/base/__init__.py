"""Ground floor: errors, units, preferred numbers, standards tables, bibliography, spec fields."""
