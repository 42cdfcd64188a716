"""Small analogue networks: dividers, comparators, thermistors, active filters, their tolerance and noise."""
