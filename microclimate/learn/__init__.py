"""What readings teach."""
