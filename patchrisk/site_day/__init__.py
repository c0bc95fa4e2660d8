"""From a site's files to the core and back: the morning, what is to come, counts, the programme."""
