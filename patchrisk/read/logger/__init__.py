"""Soil-temperature logger files: columns understood, readings judged, days made."""
