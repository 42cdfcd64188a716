"""Printed boards of the low-power blocks: footprints, places, tracks, wire links, and their check.

One copper side below, leaded parts and straight wire links above, for etching at home, milling or ordering.
Everything is in whole micrometres from the lower left corner, y up, seen from the component side.
"""
