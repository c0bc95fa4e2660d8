"""What people read: terminal text, records, figures."""
