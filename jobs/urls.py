"""URLs of the jobs. Each view file keeps its own list beside its views."""

from jobs.views import (
    floor,
    handover,
    isolation,
    job,
    measurement,
    part,
    procedure,
    roadtest,
    sheet,
    tag,
    thing,
    torque,
    waiver,
    work,
)

app_name = "jobs"
urlpatterns = [
    *floor.urlpatterns,
    *job.urlpatterns,
    *tag.urlpatterns,
    *thing.urlpatterns,
    *waiver.urlpatterns,
    *work.urlpatterns,
    *part.urlpatterns,
    *measurement.urlpatterns,
    *isolation.urlpatterns,
    *procedure.urlpatterns,
    *torque.urlpatterns,
    *roadtest.urlpatterns,
    *handover.urlpatterns,
    *sheet.urlpatterns,
]
