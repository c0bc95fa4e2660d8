"""What was done and what was seen, as the user records it: applications and observations."""
