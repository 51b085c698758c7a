"""What nature does: pure functions over arrays, SI, no input or output."""
