"""What was measured and what was advised."""
