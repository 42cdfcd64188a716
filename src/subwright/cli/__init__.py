"""The command line: thin commands over the service layer."""
