"""The signed, chained record: every deed that matters, in order, each entry bound to the one before."""
