"""`python -m xlfuncs` is the command line."""

from xlfuncs.cli import main

if __name__ == "__main__":
    main()
