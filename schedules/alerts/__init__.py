"""What to tell whom, once."""
