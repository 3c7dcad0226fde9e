from django.db import connection
from django.http import HttpResponse

from workshop.pages import public


@public
def health(request):
    """For a watchdog: 200 when the database answers."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
    return HttpResponse("ok\n", content_type="text/plain")
