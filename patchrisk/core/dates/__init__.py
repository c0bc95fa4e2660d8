"""Weeks ahead: weather of past years, soil along it with its error, windows with their odds."""
