"""One file per file format."""
