import os

from django.core.wsgi import get_wsgi_application

from config import heavy

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.embedded")
heavy.load()
application = get_wsgi_application()
