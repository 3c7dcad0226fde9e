"""URLs of the cars. Each view file keeps its own list beside its views."""

from vehicles.views import fault, keeper, odometer, outstanding, part, survey, vehicle

app_name = "vehicles"
urlpatterns = [
    *vehicle.urlpatterns,
    *keeper.urlpatterns,
    *odometer.urlpatterns,
    *part.urlpatterns,
    *survey.urlpatterns,
    *fault.urlpatterns,
    *outstanding.urlpatterns,
]
