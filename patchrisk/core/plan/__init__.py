"""The season's preventive programme: what is covered, what to apply, when, and from which group."""
