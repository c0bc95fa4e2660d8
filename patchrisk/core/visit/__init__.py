"""A visit to thin turf: figures in one unit, held against guidelines, and what they speak for."""
