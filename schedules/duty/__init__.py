"""How hard it works: counters, readings, seasons, stress spectra, and the forecast that turns counts into dates."""
