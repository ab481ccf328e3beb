"""Tonight's chance of freezing on a grass field inside a stadium's seating bowl, zone by zone."""

__version__ = "0.1.0"
