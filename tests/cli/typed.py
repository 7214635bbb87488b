"""The commands as they are typed."""

from __future__ import annotations

from canopy.cli.app import main


def run(capsys, *arguments):
    """Exit code, standard output and standard error of one command line."""
    code = 0
    try:
        main([str(argument) for argument in arguments])
    except SystemExit as stopped:
        code = stopped.code or 0
    told = capsys.readouterr()
    return code, told.out, told.err
