"""The command line: arguments in, calls to the rooms, a few printed lines and an exit code out."""
