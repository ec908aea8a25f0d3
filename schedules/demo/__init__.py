"""Larkmoor: an invented seaside pier and its depot, with five years of use, looks, findings and work.

Everything is drawn by seeded chance and hangs on one day (``--today``): the same day gives the same demo.
"""
