"""Settings for tests: the site's own, made quick and kept to this machine."""

import tempfile
from pathlib import Path

from scheduler.settings import *  # noqa: F403

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
CELERY_TASK_ALWAYS_EAGER = True
CELERY_TASK_EAGER_PROPAGATES = True
MEDIA_ROOT = Path(tempfile.gettempdir()) / "ebbmark-tests" / "media"
SECRET_KEY = "only-for-tests"
ALLOWED_HOSTS = ["localhost", "127.0.0.1", "testserver"]
WHITENOISE_AUTOREFRESH = True
