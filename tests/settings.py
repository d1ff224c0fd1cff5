"""The site's settings, made quick, quiet and strict for the tests."""

import os
import tempfile

# What is set for a site of the person running the tests stays out of them; the database is theirs to name.
for name in [name for name in os.environ if name.startswith("MAKEPOINT_")]:
    del os.environ[name]
os.environ["MAKEPOINT_HTTPS"] = "0"
os.environ["MAKEPOINT_SECRET_KEY"] = "tests-only"
# Held by this module, so that it is removed when the tests end.
_var = tempfile.TemporaryDirectory(prefix="makepoint-tests-")
os.environ["MAKEPOINT_VAR"] = _var.name

from academy.settings import *  # noqa: E402


class UndefinedVariable(LookupError):
    """A template named a variable that its view doesn't give it."""


class RaiseWhenUndefined(str):
    """What Django puts in place of an undefined variable: fails the test instead of leaving a blank."""

    __slots__ = ()

    def __contains__(self, text: object) -> bool:
        # Django asks for a place to put the variable's name, and then fills it with %.
        return text == "%s"

    def __mod__(self, variable: object) -> str:
        raise UndefinedVariable(str(variable))


TEMPLATES[0]["OPTIONS"]["string_if_invalid"] = RaiseWhenUndefined("undefined: %s")

# A query per row is an error from three rows up: a form may well look up two instruments, one a field.
INSTALLED_APPS = [*INSTALLED_APPS, "zeal"]
MIDDLEWARE = ["tests.repeats.middleware", *MIDDLEWARE]
ZEAL_RAISE = True
ZEAL_NPLUSONE_THRESHOLD = 3

# A live server's threads must let go of the database before it is dropped.
DATABASES["default"]["CONN_MAX_AGE"] = 0
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":
    # In a file: in memory, those threads would share one connection, and with it each other's transactions.
    DATABASES["default"]["TEST"] = {"NAME": f"{_var.name}/tests.sqlite3"}
# Work for the background is done as soon as what asked for it is committed.
TASKS = {"default": {"BACKEND": "django_tasks.backends.immediate.ImmediateBackend"}}
ALLOWED_HOSTS = ["testserver", "localhost", "127.0.0.1"]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
# Photos stay in memory: nothing to clean up, and whoever asks for a path on disk fails.
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.InMemoryStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "root": {"handlers": [], "level": "WARNING"},
}
