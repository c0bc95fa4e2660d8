"""Soil temperature: heat conduction, root zones, the model from air, joining it to a log."""
