"""Rules, being written."""
