"""Published rules on soil temperature, their seasons, and counts since a day."""
