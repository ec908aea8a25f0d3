"""Measurements of speed, each printing one line of JSON: key, what, ratio, goal, sizes."""
