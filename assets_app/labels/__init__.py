"""QR labels for joints: a sheet to print, an address that opens the joint once signed in."""
