"""Pure engineering functions on numbers and numpy arrays: no framework, no database, no clock.

Internal units: N, mm, MPa, kg, day. Every public function states its units, its formula, its range of validity and
its source. Input outside that range raises ``engineering.errors.InputError``; nothing is clamped.
"""
