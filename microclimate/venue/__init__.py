"""What the user describes."""
