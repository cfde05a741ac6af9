"""The WSGI application that gunicorn serves."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
application = get_wsgi_application()

# Without this, a task woken from a page would look for a broker with the library's defaults.
import deploy.celery  # noqa: E402, F401
