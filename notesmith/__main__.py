"""``python -m notesmith`` is the same as ``notesmith``."""

from notesmith.cli import main

main()
