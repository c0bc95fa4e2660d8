"""One season, one phase, one verdict: what to do about a disease on an area this morning."""
