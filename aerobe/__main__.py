"""`python -m aerobe` is the command `aerobe`."""

from aerobe.cli import main

if __name__ == "__main__":
    main()
