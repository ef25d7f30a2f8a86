"""`python -m meltdoe` is the command `meltdoe`."""

from meltdoe.cli.app import main

main()
