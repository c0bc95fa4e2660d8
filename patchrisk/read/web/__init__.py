"""Answers of weather services: asked for within bounds, kept, refused in one line."""
