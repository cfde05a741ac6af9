"""The WSGI application that gunicorn serves."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
application = get_wsgi_application()

# Without this, a task woken from a page would look for a broker with the library's defaults.
from django.db import DatabaseError, connection  # noqa: E402

import deploy.celery  # noqa: E402, F401

# A database that is set up wrongly shows when the server starts, not at the first page. One
# that is away now may be back by then.
try:
    connection.ensure_connection()
except DatabaseError:
    pass
finally:
    connection.close()
