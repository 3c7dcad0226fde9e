"""URLs of the cars. Each view file keeps its own list beside its views."""

from vehicles.views import (
    erasure,
    fault,
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
    *outstanding.urlpatterns,
    *photo.urlpatterns,
]
