"""Plans, their cost and their latest start."""
