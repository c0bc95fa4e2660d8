"""Tests against public files, which `fetch` downloads."""
