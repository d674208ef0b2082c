"""``python -m evidence`` is the command line."""

from evidence.cli import main

main()
