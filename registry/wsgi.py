import os

from django.core.wsgi import get_wsgi_application
from django.urls import get_resolver

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "registry.settings")
application = get_wsgi_application()
# Everything is imported before the first request: it would wait seconds for it otherwise.
_loaded = get_resolver().url_patterns
