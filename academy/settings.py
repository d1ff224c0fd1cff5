"""The site's settings. Each one that a centre may want to change is read from the environment."""

import os
from datetime import timedelta
from pathlib import Path

import dj_database_url
from csp.constants import NONE, SELF

from academy.environment import flag, paths, secret_key, whole, words

ROOT = Path(__file__).resolve().parent.parent
VAR = Path(os.environ.get("MAKEPOINT_VAR") or ROOT / ".var")
VAR.mkdir(mode=0o700, parents=True, exist_ok=True)
LOGS = VAR / "log"
LOGS.mkdir(exist_ok=True)

DEBUG = flag("MAKEPOINT_DEBUG", default=False)
HTTPS = flag("MAKEPOINT_HTTPS", default=True)
SECRET_KEY = secret_key(path=VAR / "secret-key")
ALLOWED_HOSTS = words("MAKEPOINT_HOSTS", default=("localhost", "127.0.0.1", "[::1]"))
CSRF_TRUSTED_ORIGINS = words("MAKEPOINT_TRUSTED_ORIGINS")

ROOT_URLCONF = "academy.urls"
WSGI_APPLICATION = "academy.wsgi.application"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

INSTALLED_APPS = [
    "academy.apps.AcademyConfig",
    "rigs.apps.RigsConfig",
    "assessments.apps.AssessmentsConfig",
    "axes",
    "csp",
    "crispy_forms",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.messages",
    "django.contrib.sessions",
    "django.contrib.staticfiles",
    "django_tasks",
    "django_tasks_db",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "academy.local_time.CentreTimeMiddleware",
    "axes.middleware.AxesMiddleware",
]

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "academy.context.may",
            ],
        },
    },
]
CRISPY_ALLOWED_TEMPLATE_PACKS = "makepoint"
CRISPY_TEMPLATE_PACK = "makepoint"

# Database -----------------------------------------------------------------------------------------

DATABASES = {
    "default": dj_database_url.config(
        default=f"sqlite:///{VAR / 'makepoint.sqlite3'}",
        conn_max_age=60,
        conn_health_checks=True,
    ),
}
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":
    DATABASES["default"]["CONN_MAX_AGE"] = 0
    DATABASES["default"]["OPTIONS"] = {
        # A deferred transaction that turns into a writer fails at once when another one is writing: it
        # must take the lock when it begins.
        "transaction_mode": "IMMEDIATE",
        # SQLite’s waiting isn’t fair: somebody may have to wait out a whole class handing in.
        "timeout": 60,
        # FULL, because the records are evidence: what was acknowledged survives a power cut.
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;",
    }

# What is made in the background ------------------------------------------------------------------

TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}
JOB_KINDS = {
    "pack": "assessments.packs.KIND",
    "portfolio": "assessments.portfolio_jobs.PORTFOLIO",
}

# People and signing in ----------------------------------------------------------------------------

AUTH_USER_MODEL = "academy.Person"
AUTHENTICATION_BACKENDS = ["axes.backends.AxesStandaloneBackend", "academy.backends.PersonBackend"]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ("email", "name")},
    },
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "sign-in"
SESSION_COOKIE_AGE = int(timedelta(hours=12).total_seconds())  # a day at the centre: tablets are shared

AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_FAILURE_LIMIT = 5
AXES_COOLOFF_TIME = timedelta(minutes=15)
AXES_RESET_ON_SUCCESS = True
# The lock-out page says when to try again, so that time must not move.
AXES_RESET_COOL_OFF_ON_FAILURE_DURING_LOCKOUT = False
AXES_USERNAME_CALLABLE = "academy.backends.email_tried"
AXES_LOCKOUT_CALLABLE = "academy.views.signing_in.locked_out"
AXES_DISABLE_ACCESS_LOG = True  # no record of who signed in from where, beyond the lock-out's own
AXES_ENABLE_ADMIN = False
AXES_VERBOSE = False

# Transport and browser ----------------------------------------------------------------------------

SECURE_SSL_REDIRECT = HTTPS
SESSION_COOKIE_SECURE = HTTPS
CSRF_COOKIE_SECURE = HTTPS
SECURE_HSTS_SECONDS = int(timedelta(days=365).total_seconds()) if HTTPS else 0
if flag("MAKEPOINT_BEHIND_PROXY", default=False):
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
# Whether a centre's other hosts speak HTTPS, and whether to bind browsers to that for good, is for the owner
# of the domain to say: this site speaks for its own host only.
SILENCED_SYSTEM_CHECKS = ["security.W005", "security.W021"]
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "style-src": [SELF],
        "script-src": [SELF],
        "worker-src": [SELF],
        "img-src": [SELF, "data:", "blob:"],
        "frame-ancestors": [NONE],
        "base-uri": [SELF],
        "form-action": [SELF],
    },
}

# Files --------------------------------------------------------------------------------------------

STATIC_URL = "static/"
WHITENOISE_USE_FINDERS = True  # served from the packages themselves: nothing to collect first
MEDIA_ROOT = VAR / "media"
# What portfolios are signed with: a private key and its certificate in PEM. Without them the site makes a key
# of its own, which vouches for itself.
OWN_SIGNING_KEY = VAR / "signing-key.pem"
SIGNING_KEY, SIGNING_CERTIFICATE = paths(
    "MAKEPOINT_SIGNING_KEY", "MAKEPOINT_SIGNING_CERTIFICATE", default=OWN_SIGNING_KEY
)
SIGNING_PASSPHRASE = os.environ.get("MAKEPOINT_SIGNING_PASSPHRASE", "")
PHOTO_MAX_BYTES = 12 * 1024 * 1024
DATA_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024  # a form without its files
DATA_UPLOAD_MAX_NUMBER_FILES = 10
FILE_UPLOAD_PERMISSIONS = 0o600
FILE_UPLOAD_DIRECTORY_PERMISSIONS = 0o700

# Mail, and what people are told -------------------------------------------------------------------

SITE_ADDRESS = os.environ.get("MAKEPOINT_ADDRESS", "").strip() or "http://127.0.0.1:8000"
EMAIL_HOST = os.environ.get("MAKEPOINT_MAIL_HOST", "").strip()
EMAIL_PORT = whole("MAKEPOINT_MAIL_PORT", default=587)
EMAIL_HOST_USER = os.environ.get("MAKEPOINT_MAIL_USER", "").strip()
EMAIL_HOST_PASSWORD = os.environ.get("MAKEPOINT_MAIL_PASSWORD", "")
EMAIL_USE_TLS = flag("MAKEPOINT_MAIL_TLS", default=True)
DEFAULT_FROM_EMAIL = os.environ.get("MAKEPOINT_MAIL_FROM", "").strip() or "makepoint@localhost"
# Without a mail server, messages are kept as files, so that nothing is lost and nobody is written to.
EMAIL_BACKEND = f"django.core.mail.backends.{'smtp' if EMAIL_HOST else 'filebased'}.EmailBackend"
EMAIL_FILE_PATH = VAR / "mail"
NOTICE_SOURCES = [
    "rigs.notices.notices",
    "assessments.notices.notices",
    "assessments.impact_notices.notices",
    "assessments.rights_notices.notices",
    "assessments.exercise_notices.notices",
    "assessments.session_notices.notices",
]

# What is kept about people, and what becomes of it -------------------------------------------------

RECORD_KEEPERS = [
    "academy.personal_records.KEEPER",
    "rigs.personal.KEEPER",
    "assessments.personal.KEEPER",
]

# Language and time --------------------------------------------------------------------------------

LANGUAGE_CODE = "en-gb"
LOCALE_PATHS = [ROOT / "academy" / "locale"]
USE_TZ = True
TIME_ZONE = "UTC"

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}},
    "handlers": {
        "console": {"class": "logging.StreamHandler", "formatter": "line"},
        "file": {
            "class": "logging.handlers.WatchedFileHandler",
            "filename": LOGS / "makepoint.log",
            "formatter": "line",
            "encoding": "utf-8",
            "delay": True,
        },
    },
    "root": {"handlers": ["console", "file"], "level": "WARNING"},
}
