"""URLs of the jobs. Each view file keeps its own list beside its views."""

from jobs.views import (
    account,  # noqa: F401  it hangs itself into the owner's account
    account_damage,  # noqa: F401
    account_today,  # noqa: F401
    angle,
    clock,
    damage,
    find,  # noqa: F401  it hangs itself into the search
    floor,
    handover,
    isolation,
    job,
    label,
    measurement,
    of_vehicle,
    part,
    phrase,
    procedure,
    procedure_step,
    roadtest,
    run_record,
    shared_sheet,
    sheet,
    tag,
    thing,
    torque,
    waiver,
    wear,
    work,
)

app_name = "jobs"
urlpatterns = [
    *floor.urlpatterns,
    *job.urlpatterns,
    *angle.urlpatterns,
    *damage.urlpatterns,
    *of_vehicle.urlpatterns,
    *tag.urlpatterns,
    *thing.urlpatterns,
    *label.urlpatterns,
    *phrase.urlpatterns,
    *waiver.urlpatterns,
    *work.urlpatterns,
    *clock.urlpatterns,
    *part.urlpatterns,
    *measurement.urlpatterns,
    *isolation.urlpatterns,
    *procedure.urlpatterns,
    *procedure_step.urlpatterns,
    *torque.urlpatterns,
    *run_record.urlpatterns,
    *roadtest.urlpatterns,
    *handover.urlpatterns,
    *sheet.urlpatterns,
    *shared_sheet.urlpatterns,
    *wear.urlpatterns,
]
