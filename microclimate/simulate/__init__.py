"""The time loop: forcing and plan become outcome and states."""
