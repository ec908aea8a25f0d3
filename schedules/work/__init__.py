"""Work orders, their steps, parts and waiting; holds; closing."""
