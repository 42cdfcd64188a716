"""Pure functions of magnetics, switching, heat, networks, acoustics and boards: SI in and out, sources cited."""
