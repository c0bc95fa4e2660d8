"""Infection windows of root-infecting turf fungi from daily soil temperature."""

__version__ = "0.1.0"
