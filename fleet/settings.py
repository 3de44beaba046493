"""Django's settings. Everything an installation may change comes from the environment.

MILLRACE_DATA           data folder (private database and broker, secret key)
DATABASE_URL, REDIS_URL servers to use instead of the private ones
MILLRACE_PG_BIN         folder of the private PostgreSQL's programs, instead of the package's
MILLRACE_SERVER_ACCOUNT whom the private servers run as when the command runs as root
SECRET_KEY              instead of the one generated into the data folder
MILLRACE_ALLOWED_HOSTS  names this server answers to, separated by commas
MILLRACE_HTTPS          1 when a proxy in front speaks TLS: secure cookies, HSTS
MILLRACE_DEBUG          1 while developing
MILLRACE_COMPANY        name of the service company, on what clients read
MILLRACE_COMPANY_LOGO   its picture (.svg, .png, .jpg), beside the name
MILLRACE_ADDRESS        where people open the pages, for links in mails
MILLRACE_MAIL_HOST      server that takes mail (without one, mails are files in MILLRACE_DATA/mail)
MILLRACE_MAIL_PORT, _USER, _PASSWORD, _TLS   587, none, none, 1 (STARTTLS)
MILLRACE_MAIL_FROM      sender of mails
MILLRACE_PRIVATE_WEBHOOKS 1 lets webhooks go to private addresses and over plain http
MILLRACE_LANGUAGE       of mails to people who chose none (en, de)
MILLRACE_LOG_FORMAT     line (default), logfmt (key=value) or json
MILLRACE_STATIC_ROOT    where collectstatic writes; without it files are served as they lie
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import dj_database_url
from csp.constants import NONE, SELF

from fleet.embedded import data_folder
from fleet.embedded.secret import secret_key

BASE_DIR = Path(__file__).resolve().parent


def _flag(name: str) -> bool:
    return os.environ.get(name, "").lower() in {"1", "true", "yes", "on"}


def _list(name: str, default: str = "") -> list[str]:
    return [part.strip() for part in os.environ.get(name, default).split(",") if part.strip()]


DEBUG = _flag("MILLRACE_DEBUG")
HTTPS = _flag("MILLRACE_HTTPS")
SECRET_KEY = os.environ.get("SECRET_KEY") or secret_key()
ALLOWED_HOSTS = _list("MILLRACE_ALLOWED_HOSTS", "localhost,127.0.0.1,[::1]")
CSRF_TRUSTED_ORIGINS = [f"https://{host}" for host in ALLOWED_HOSTS] if HTTPS else []

INSTALLED_APPS = [
    "fleet",
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.messages",
    "django.contrib.sessions",
    "django.contrib.staticfiles",
    "django_otp",
    "django_otp.plugins.otp_static",
    "django_otp.plugins.otp_totp",
    "csp",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "fleet.asked.middleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "fleet.language.middleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",  # a view is closed unless it says so
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
]
ROOT_URLCONF = "fleet.urls"
WSGI_APPLICATION = "fleet.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ],
        },
    },
]

# The private server's address is filled in when the first connection opens.
_PRIVATE_DATABASE: dict[str, Any] = {"ENGINE": "fleet.embedded.backend", "NAME": "millrace"}
DATABASES: dict[str, Any] = {
    "default": {
        **(
            dj_database_url.parse(os.environ["DATABASE_URL"])
            if os.environ.get("DATABASE_URL")
            else _PRIVATE_DATABASE
        ),
        "CONN_MAX_AGE": 60,
        "CONN_HEALTH_CHECKS": True,
    },
}
DATA_UPLOAD_MAX_NUMBER_FIELDS = 5_000  # a log of 2,000 columns, two fields each

DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

LANGUAGE_CODE = "en"
LANGUAGES = [("en", "English"), ("de", "Deutsch")]
MAIL_LANGUAGE = os.environ.get("MILLRACE_LANGUAGE") or LANGUAGE_CODE
USE_I18N = True
FORMAT_MODULE_PATH = "fleet.formats"
USE_TZ = True
TIME_ZONE = "UTC"

LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "sign-in"
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 12},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
]

PASSWORD_RESET_TIMEOUT = 24 * 3600
OTP_TOTP_ISSUER = "Millrace"
OTP_ADMIN_HIDE_SENSITIVE_DATA = True

# Links in mails come from workers, which know of no request.
PUBLIC_ADDRESS = os.environ.get("MILLRACE_ADDRESS", "").rstrip("/") or (
    f"https://{ALLOWED_HOSTS[0]}" if HTTPS and ALLOWED_HOSTS else "http://localhost:8000"
)
EMAIL_HOST = os.environ.get("MILLRACE_MAIL_HOST", "")
EMAIL_PORT = int(os.environ.get("MILLRACE_MAIL_PORT") or 587)
EMAIL_HOST_USER = os.environ.get("MILLRACE_MAIL_USER", "")
EMAIL_HOST_PASSWORD = os.environ.get("MILLRACE_MAIL_PASSWORD", "")
EMAIL_USE_TLS = os.environ.get("MILLRACE_MAIL_TLS", "1") == "1"
EMAIL_TIMEOUT = 10
EMAIL_BACKEND = (
    "django.core.mail.backends.smtp.EmailBackend"
    if EMAIL_HOST
    else "fleet.notices.mail_file.EmailBackend"
)
EMAIL_FILE_PATH = str(data_folder() / "mail")
DEFAULT_FROM_EMAIL = os.environ.get("MILLRACE_MAIL_FROM", "Millrace <millrace@localhost>")
WEBHOOKS_MAY_BE_PRIVATE = _flag("MILLRACE_PRIVATE_WEBHOOKS")

COMPANY_NAME = os.environ.get("MILLRACE_COMPANY", "")
COMPANY_LOGO = os.environ.get("MILLRACE_COMPANY_LOGO", "")

STATIC_URL = "static/"
STATIC_ROOT = os.environ.get("MILLRACE_STATIC_ROOT") or None
WHITENOISE_USE_FINDERS = STATIC_ROOT is None
WHITENOISE_MAX_AGE = 0 if DEBUG else 3600

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:", "blob:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
        "base-uri": [NONE],
        "object-src": [NONE],
    },
}
X_FRAME_OPTIONS = "DENY"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"

# The prefix binds a cookie to this host; browsers accept it over TLS only.
_COOKIE_PREFIX = "__Host-" if HTTPS else ""
SESSION_COOKIE_NAME = f"{_COOKIE_PREFIX}session"
CSRF_COOKIE_NAME = f"{_COOKIE_PREFIX}csrf"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = HTTPS
SESSION_COOKIE_HTTPONLY = CSRF_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_AGE = 14 * 24 * 3600
SECURE_SSL_REDIRECT = HTTPS
SECURE_REDIRECT_EXEMPT = [r"^api/", r"^healthz$", r"^readyz$", r"^metrics$"]
SECURE_HSTS_SECONDS = 31_536_000 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = HTTPS
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if HTTPS else None

LOGGING: dict[str, Any] = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "chosen": {
            "()": "fleet.logs.Formatter",
            "shape": os.environ.get("MILLRACE_LOG_FORMAT") or "line",
        },
    },
    "handlers": {
        "stderr": {"class": "logging.StreamHandler", "formatter": "chosen"},
    },
    "root": {"handlers": ["stderr"], "level": "WARNING"},
    "loggers": {
        "fleet": {"level": "INFO"},
        "django": {"handlers": [], "level": "WARNING", "propagate": True},
        "waitress.queue": {"level": "ERROR"},  # a queue of one is no event
        "django.server": {"handlers": ["stderr"], "level": "INFO", "propagate": False},
    },
}
