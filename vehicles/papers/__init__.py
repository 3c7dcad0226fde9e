"""What the numbered prints about a car say, gathered from the records into plain data, and the pages drawn from it.

Each kind is a module; the torque record is the jobs' own. What changes by itself from one day to the next (an age, the
days that are left) stands in none of them: the same records say the same words tomorrow.
"""

from vehicles.issuing import Kind, add_kind
from vehicles.models import PrintKind


def register() -> None:
    from vehicles.papers import build, erasing, history, survey

    add_kind(Kind(PrintKind.BUILD, "sheets/build.html", build.gather))
    add_kind(Kind(PrintKind.SURVEY, "sheets/survey.html", survey.gather, about="survey"))
    add_kind(Kind(PrintKind.HISTORY, "sheets/history_report.html", history.gather))
    erasing.register()
