"""The embedded default: SQLite and one process group, for one office with nothing installed."""

from config.settings.base import *
from config.settings.base import ROOT, SQLITE_OPTIONS, env

SECRET_KEY = env("SECRET_KEY", default="for-this-machine-only-not-for-a-network-" + "x" * 24)
DATABASES = {
    "default": {
        **env.db_url("DATABASE_URL", default=f"sqlite:///{ROOT / '.run' / 'soundjoint.sqlite3'}"),
    }
}
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    DATABASES["default"]["OPTIONS"] = SQLITE_OPTIONS
EMAIL_BACKEND = env("EMAIL_BACKEND", default="django.core.mail.backends.filebased.EmailBackend")
