"""What the web server starts."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "homedialysis.settings")

application = get_wsgi_application()

from homedialysis.running.waits import OF_PAGES, keep_within  # noqa: E402 - they need the settings

keep_within(OF_PAGES)
