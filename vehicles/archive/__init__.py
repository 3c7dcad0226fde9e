"""Everything about one car in one file, for its owner or the next workshop.

`declare` says what of each model is taken along, `own` says so for this room's models and the house's, and upper rooms
hand in theirs. `making` writes the file, `reading` opens one that somebody sent and `checking` reads all of it.
"""

FORMAT = "witness-mark-vehicle-archive"
# Goes up whenever a file of the version before can't be read as if it were of this one.
VERSION = 1
