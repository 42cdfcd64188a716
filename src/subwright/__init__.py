"""subwright: from a loudspeaker driver and a vehicle battery to a finished, checked, buildable subwoofer."""

__version__ = "0.1.0"
