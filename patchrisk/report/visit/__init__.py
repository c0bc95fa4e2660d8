"""The report of a visit: one view of it, for the terminal, the client's page and JSON."""
