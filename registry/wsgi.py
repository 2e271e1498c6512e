import gc
import os
import sys

from django.core.wsgi import get_wsgi_application
from django.db import connection
from django.urls import get_resolver

SWITCH_SECONDS = 0.0003

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "registry.settings")
application = get_wsgi_application()
# Everything is imported before the first request: it would wait seconds for it otherwise.
from django.conf import settings  # noqa: E402

from registry.apart import apart  # noqa: E402  needs the settings
from registry.log_lines import own_words_too  # noqa: E402
from registry.poolers import requests_pooled  # noqa: E402
from registry.selectors.chart_watch import watch  # noqa: E402

_loaded = get_resolver().url_patterns
# What was imported stays: it is not searched for garbage again and again.
gc.collect()
gc.freeze()
# A read of a chart takes a millisecond; the work of a check beside it, in another thread, holds it up for one
# such interval each time that it has waited for the database or the socket.
sys.setswitchinterval(SWITCH_SECONDS)
if settings.LOG_FORMAT == "json":
    own_words_too()
requests_pooled()
watch.start()
if connection.vendor == "postgresql":  # the embedded default serves few, often on a small machine
    apart.start()
