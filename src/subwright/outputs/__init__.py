"""Everything a person reads: drawings, tables, sheets, the build pack. Formats numbers, calculates none."""
