"""The site map. Each room's `urls.py` gathers the lists that its view files keep beside their views."""

from django.conf import settings
from django.urls import include, path

from workshop.views import health, home, house, tools

urlpatterns = [
    path("", home.home, name="home"),
    path("favicon.ico", home.favicon, name="favicon"),
    path("health/", health.health, name="health"),
    path("", include(([*house.urlpatterns, *tools.urlpatterns], "workshop"))),
    path("", include("vehicles.urls")),
    path("", include("jobs.urls")),
]

if settings.EMERGENCY_ADMIN:
    from workshop import emergency

    emergency.register()
    urlpatterns.append(path("emergency/", emergency.site.urls))
