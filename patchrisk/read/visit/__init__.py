"""Files of a visit: what was found on the turf, a laboratory's table, guidelines and signs."""
