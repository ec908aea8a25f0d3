"""Weeks of the year against the work owed in them."""
