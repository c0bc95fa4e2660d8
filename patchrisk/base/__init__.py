"""What everything stands on: units, faults in one line, files read and written with care."""
