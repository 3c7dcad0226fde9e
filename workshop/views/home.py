from django.shortcuts import redirect

from workshop.permissions import May


def home(request):
    """Where a person begins: staff on the floor, a car's owner at their cars."""
    return redirect("jobs:floor" if request.user.may(May.SEE_SHOP) else "vehicles:my-cars")


# Anybody who is signed in: the page that follows declares its own right.
home.public = True
