"""Low-frequency acoustics of a driver in a box in a vehicle: pure functions, SI in and out.

One topic per module. Module ``circuit`` solves the whole electro-mechano-acoustical circuit; the closed forms
in ``closed_box`` and ``vented_box`` give starting points and an independent check.
"""
