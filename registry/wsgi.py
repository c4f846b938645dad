import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "registry.settings")

_django = get_wsgi_application()

# Only now are there models to import.
from registry.web.bodies import Bodies  # noqa: E402

application = Bodies(_django)
