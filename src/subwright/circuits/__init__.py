"""One netlist for each block, made from the design's own results: drawn, simulated and bought from it."""
