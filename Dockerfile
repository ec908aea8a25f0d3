# The image of web, worker and beat. Everything it installs is hash-locked.
FROM python:3.11-slim

ENV PYTHONUNBUFFERED=1 PYTHONDONTWRITEBYTECODE=1 PIP_NO_CACHE_DIR=1 PIP_DISABLE_PIP_VERSION_CHECK=1
RUN useradd --uid 10001 --no-create-home --shell /usr/sbin/nologin soundjoint
WORKDIR /app
COPY requirements/base.txt requirements/base.txt
RUN pip install --require-hashes -r requirements/base.txt
COPY . .
ENV STATIC_ROOT=/app/static MEDIA_ROOT=/var/lib/soundjoint/media BEAT_SCHEDULE_FILE=/var/lib/soundjoint/beat/schedule
# Static files need no secret, so they are collected with the settings that need none.
RUN DJANGO_SETTINGS_MODULE=config.settings.embedded python manage.py collectstatic --noinput \
    && mkdir -p /var/lib/soundjoint/media /var/lib/soundjoint/beat && chown -R soundjoint /var/lib/soundjoint
ENV DJANGO_SETTINGS_MODULE=config.settings.production
USER soundjoint
EXPOSE 8000
CMD ["gunicorn", "config.wsgi"]
