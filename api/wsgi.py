"""The door for a web server: `gunicorn --config api/server.py api.wsgi:application`."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clubdata.settings")

application = get_wsgi_application()
