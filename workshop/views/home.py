from django.shortcuts import redirect
from django.templatetags.static import static

from workshop.pages import public
from workshop.permissions import May


def home(request):
    """Where a person begins: staff on the floor, a car's owner at their cars."""
    return redirect("jobs:floor" if request.user.may(May.SEE_SHOP) else "vehicles:my-cars")


@public
def favicon(request):
    """Asked for by browsers that were not told of the mark: where it lies."""
    return redirect(static("img/mark.svg"))


# Anybody who is signed in: the page that follows declares its own right.
home.public = True
