"""What people read: contracts as tables on a screen and as files."""
