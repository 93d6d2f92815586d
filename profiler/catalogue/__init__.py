"""Generic vehicles, every figure with its source."""
