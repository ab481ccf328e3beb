"""`python -m microclimate`."""

from microclimate.cli import main

if __name__ == "__main__":
    main()
