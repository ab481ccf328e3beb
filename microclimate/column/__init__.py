"""One implicit step of layers under a surface, for lanes of columns."""
