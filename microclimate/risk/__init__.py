"""Chances per zone and event."""
