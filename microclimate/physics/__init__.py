"""One published relation per function, SI, no input or output."""
