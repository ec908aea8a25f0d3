"""Limits become due dates, with their reasons; the recompute engine."""
