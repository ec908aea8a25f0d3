"""Recordings of strain or stress: read, screened, counted, and put on joints as measured spectra."""
