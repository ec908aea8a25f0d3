"""Production: every secret must be given; HTTPS only; PostgreSQL and Redis."""

from config.settings.base import *
from config.settings.base import CONTENT_SECURITY_POLICY, env

SECRET_KEY = env("SECRET_KEY")
ALLOWED_HOSTS = env.list("ALLOWED_HOSTS")
DATABASES = {"default": {**env.db("DATABASE_URL"), "CONN_MAX_AGE": 60, "CONN_HEALTH_CHECKS": True}}
if "postgresql" in DATABASES["default"]["ENGINE"]:
    DATABASES["default"].setdefault("OPTIONS", {}).setdefault("connect_timeout", 5)  # seconds; else two minutes
BASE_URL = env("BASE_URL")
vars().update(env.email_url("EMAIL_URL"))  # must be given: an alert that only reaches a log is no alert

WEBHOOKS_HTTPS_ONLY = env.bool("WEBHOOKS_HTTPS_ONLY", default=True)

SECURE_SSL_REDIRECT = env.bool("SECURE_SSL_REDIRECT", default=True)
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
SECURE_REDIRECT_EXEMPT = [r"^health/", r"^metrics$"]  # asked on this machine, where nothing speaks TLS
SECURE_HSTS_SECONDS = env.int("SECURE_HSTS_SECONDS", default=31536000)
SECURE_HSTS_INCLUDE_SUBDOMAINS = True
SECURE_HSTS_PRELOAD = True
SESSION_COOKIE_SECURE = True
CSRF_COOKIE_SECURE = True
_directives: dict[str, list[str] | bool] = {**CONTENT_SECURITY_POLICY["DIRECTIVES"], "upgrade-insecure-requests": True}
CONTENT_SECURITY_POLICY = {"DIRECTIVES": _directives}  # type: ignore[dict-item]
