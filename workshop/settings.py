"""Settings: all from the environment, safe when nothing is set. `.env.example` lists every one."""

from pathlib import Path
from urllib.parse import urlsplit

from django.core.exceptions import ImproperlyConfigured

from workshop import environment as env

BASE_DIR = Path(__file__).resolve().parent.parent
WORKSHOP_DATA = env.data_folder(BASE_DIR)

DEBUG = env.env_flag("DEBUG", default=False)
SECRET_KEY = env.secret_key(WORKSHOP_DATA)

# The address under which people reach the shop. The QR code of a handover sheet leads there, and cookies,
# redirects and HSTS follow from its scheme.
SITE_URL = env.env_text("SITE_URL").rstrip("/")
_site = urlsplit(SITE_URL)
if SITE_URL and (_site.scheme not in ("http", "https") or not _site.hostname):
    raise ImproperlyConfigured(
        f"SITE_URL is {SITE_URL!r}: use the whole address, such as https://shop.example"
    )
# Where `serve --tls` answers: it sets this for the processes that it starts, which https comes first.
LOCAL_TLS = env.env_list("LOCAL_TLS")
_https = _site.scheme == "https" or bool(LOCAL_TLS)

ALLOWED_HOSTS = env.env_list("ALLOWED_HOSTS") or ["localhost", "127.0.0.1", "[::1]"]
if _site.hostname and _site.hostname not in ALLOWED_HOSTS:
    ALLOWED_HOSTS.append(_site.hostname)
ALLOWED_HOSTS += [host for host in env.hosts_of(LOCAL_TLS) if host not in ALLOWED_HOSTS]
CSRF_TRUSTED_ORIGINS = [f"{_site.scheme}://{_site.netloc}"] if SITE_URL else []
CSRF_TRUSTED_ORIGINS += [origin for origin in LOCAL_TLS if origin.startswith("https:")]

INSTALLED_APPS = [
    "workshop",
    "vehicles",
    "jobs",
    "django_htmx",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
]

# The emergency pages: every table, to be read by the shop owner (workshop/emergency.py). Off unless asked for.
EMERGENCY_ADMIN = env.env_flag("EMERGENCY_ADMIN", default=False)
if EMERGENCY_ADMIN:
    INSTALLED_APPS.append("django.contrib.admin.apps.SimpleAdminConfig")

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "workshop.middleware.content_security_policy",
    "workshop.middleware.no_nul",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    # After the static files: they lie there compressed.
    "workshop.middleware.CompressedText",
    # Before session and person: a poll of an unchanged page costs one query.
    "workshop.live.still_so",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    # What a tablet kept acts as the person who made it: before whatever asks who is signed in.
    "workshop.queued.Queue",
    "workshop.middleware.SignedIn",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "workshop.middleware.device",
    # After the tablet's queue, whose grants pass a locked session.
    "workshop.idle.IdleLock",
    "workshop.middleware.DeclaredPermission",
    "workshop.middleware.Refusals",
]

ROOT_URLCONF = "workshop.urls"
WSGI_APPLICATION = "workshop.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": False,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "workshop.context.shop",
            ],
            "builtins": ["workshop.templatetags.shop"],
        },
    }
]
if EMERGENCY_ADMIN:
    from django.contrib import admin as _admin

    TEMPLATES[0]["DIRS"].append(Path(_admin.__file__).parent / "templates")
FORM_RENDERER = "django.forms.renderers.DjangoTemplates"

DATABASES = {"default": env.database(env.env_text("DATABASE_URL"), WORKSHOP_DATA)}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "workshop.Person"
AUTHENTICATION_BACKENDS = ["workshop.signin.PersonBackend"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
LOGIN_URL = "workshop:login"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "workshop:login"
# Wrong passwords are counted per name and device, not per address: one router serves the whole shop.
SIGN_IN_TRIES = 5
SIGN_IN_LOCK_MINUTES = 15

# The shop's mail server and the address that its e-mail comes from (workshop/mail.py). Read when something is sent;
# a wrong one stops no start, but a check says what to do.
MAIL_URL = env.env_text("MAIL_URL")
MAIL_FROM = env.env_text("MAIL_FROM")

LANGUAGE_CODE = "en-gb"
TIME_ZONE = env.env_text("SHOP_TIME_ZONE") or "Europe/Berlin"
USE_I18N = True
USE_TZ = True
USE_THOUSAND_SEPARATOR = False
# Dates are typed as the browser's date field sends them, and as people write them here.
FORMAT_MODULE_PATH = ["workshop.formats"]

STATIC_URL = "static/"
STATICFILES_DIRS = [BASE_DIR / "static"]
STATIC_ROOT = WORKSHOP_DATA / "static"
STORAGES = {
    "default": {
        "BACKEND": "django.core.files.storage.FileSystemStorage",
        "OPTIONS": {"location": WORKSHOP_DATA / "files"},
    },
    "staticfiles": {
        "BACKEND": (
            "django.contrib.staticfiles.storage.StaticFilesStorage" if DEBUG else "workshop.statics.Statics"
        )
    },
}
WHITENOISE_ALLOW_ALL_ORIGINS = False

SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_AGE = 14 * 24 * 3600
CSRF_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE_SSL_REDIRECT = _https
# With the shop's own certificate no browser is bound to https: a device that does not trust it yet, or no longer,
# must still get to the page that says how, over plain http.
SECURE_HSTS_SECONDS = env.env_number("HSTS_SECONDS", 31_536_000) if _https and not LOCAL_TLS else 0
SECURE_REDIRECT_EXEMPT = [r"^trust(/|$)", r"^health/$", r"^static/", r"^favicon\.ico$"] if LOCAL_TLS else []
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = False
SECURE_PROXY_SSL_HEADER = (
    ("HTTP_X_FORWARDED_PROTO", "https") if env.env_flag("BEHIND_PROXY", default=False) else None
)
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
# Sub-domains of the shop's address are not ours to force, so HSTS stays on this host alone.
SILENCED_SYSTEM_CHECKS = ["security.W005", "security.W021"]

DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 2000

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}},
    "filters": {"no_tokens": {"()": "workshop.tokens.Masked"}},
    "handlers": {
        "console": {"class": "logging.StreamHandler", "formatter": "line", "filters": ["no_tokens"]},
    },
    "root": {"handlers": ["console"], "level": "INFO"},
    "loggers": {
        "fontTools": {"level": "WARNING"},
        "weasyprint": {"level": "ERROR"},
        "django.server": {"handlers": ["console"], "level": "INFO", "propagate": False},
    },
}
