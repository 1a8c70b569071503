"""`python -m contactfe` is the command line."""

import sys

from contactfe.cli import main

if __name__ == "__main__":
    sys.exit(main())
