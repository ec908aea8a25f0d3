"""Loads what commands need not wait for; the web and the workers load it before the first who asks has to wait."""


def load(**about: object) -> None:
    import scipy.ndimage
    import scipy.optimize
    import scipy.special  # noqa: F401
