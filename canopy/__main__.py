"""`python -m canopy` runs the command line."""

from canopy.cli.app import main

if __name__ == "__main__":
    main()
