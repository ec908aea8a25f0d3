"""How a line of the log looks: one JSON object. Read by the settings, so it needs no Django."""

from __future__ import annotations

from typing import Any

import structlog


def route_for_path(_logger: Any, _name: str, line: dict[str, Any]) -> dict[str, Any]:
    """Django's own lines about a request name its path, and a path may hold the token of a private link."""
    request = getattr(line.get("_record"), "request", None)
    path = getattr(request, "path", None)
    if path:
        match = getattr(request, "resolver_match", None)
        line["event"] = str(line["event"]).replace(path, f"/{match.route}" if match else "an unknown address")
    return line


BEFORE: list[Any] = [
    structlog.contextvars.merge_contextvars,
    structlog.stdlib.add_log_level,
    structlog.stdlib.add_logger_name,
    structlog.stdlib.PositionalArgumentsFormatter(),
    structlog.processors.TimeStamper(fmt="iso", utc=True),
    structlog.processors.StackInfoRenderer(),
    structlog.processors.format_exc_info,
]


def config(level: str) -> dict[str, Any]:
    """``LOGGING`` for the settings: every logger's lines as JSON on stderr."""
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {
            "json": {
                "()": structlog.stdlib.ProcessorFormatter,
                "foreign_pre_chain": [*BEFORE, route_for_path],
                "processors": [
                    structlog.stdlib.ProcessorFormatter.remove_processors_meta,
                    structlog.processors.JSONRenderer(),
                ],
            }
        },
        "handlers": {
            "stderr": {"class": "logging.StreamHandler", "formatter": "json"},
            "nowhere": {"class": "logging.NullHandler"},
        },
        "root": {"handlers": ["stderr"], "level": level},
        # The development server's own lines hold whole paths, tokens of private links too; each request leaves ours.
        "loggers": {"django.server": {"handlers": ["nowhere"], "propagate": False}},
    }
