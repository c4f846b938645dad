"""What a web server imports: the register, entered as the application alone."""

import os
import sys

from django.core.wsgi import get_wsgi_application

from registry.database import serving
from registry.database.data_folder import UnusableDataFolder
from registry.database.server import DatabaseUnavailable

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "registry.settings")

# The status by which gunicorn's workers say that starting others is of no use.
CANNOT_SERVE = 3

try:
    _django = get_wsgi_application()
    serving.begin()
except (DatabaseUnavailable, UnusableDataFolder) as error:
    print(error, file=sys.stderr, flush=True)
    sys.exit(CANNOT_SERVE)

# Only now are there models to import.
from registry.web.bodies import Bodies  # noqa: E402

application = Bodies(_django)
