"""The page that works at the steel, where there is no signal: what it takes along, and the doors it comes through."""
