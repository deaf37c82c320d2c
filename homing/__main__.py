"""``python -m homing`` is the program ``downstop``."""

from homing.cli import main

main()
