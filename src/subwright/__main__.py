"""``python -m subwright``: the same as the ``subwright`` command."""

from subwright.cli.main import main

main()
