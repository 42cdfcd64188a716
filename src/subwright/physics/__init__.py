"""Pure functions of magnetics, switching, heat, networks, acoustics and boards: SI in, SI out."""
