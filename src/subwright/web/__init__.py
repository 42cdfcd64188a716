"""The workbench: a local page on which the whole build is seen, changed and understood."""
