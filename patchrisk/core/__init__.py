"""What is decided, and from what: pure functions on arrays of days and lanes."""
