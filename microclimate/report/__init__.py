"""Words, figures and pages."""
