"""Tables of the standards, one file per trade; :mod:`subwright.base.standards` gathers them."""
