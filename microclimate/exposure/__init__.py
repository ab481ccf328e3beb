"""Venue and weather become what reaches each patch."""
