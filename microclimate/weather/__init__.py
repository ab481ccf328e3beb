"""What the sky is forecast or measured to do."""
