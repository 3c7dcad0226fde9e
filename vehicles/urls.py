"""URLs of the cars. Each view file keeps its own list beside its views."""

from vehicles.views import (
    calculator,
    datasheet,
    drain,
    effects,
    erasure,
    fault,
    figures,
    find,
    first_answer,  # noqa: F401  it hangs itself on the vehicle's page
    keeper,
    my_car,
    odometer,
    outstanding,
    part,
    photo,
    survey,
    timeline,
    vehicle,
)

app_name = "vehicles"
urlpatterns = [
    *vehicle.urlpatterns,
    *find.urlpatterns,
    *timeline.urlpatterns,
    *keeper.urlpatterns,
    *erasure.urlpatterns,
    *my_car.urlpatterns,
    *odometer.urlpatterns,
    *part.urlpatterns,
    *survey.urlpatterns,
    *fault.urlpatterns,
    *drain.urlpatterns,
    *outstanding.urlpatterns,
    *photo.urlpatterns,
    *calculator.urlpatterns,
    *effects.urlpatterns,
    *datasheet.urlpatterns,
    *figures.urlpatterns,
]
