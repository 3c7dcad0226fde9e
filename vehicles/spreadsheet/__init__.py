"""Taking in a list that somebody kept in a spreadsheet: cars, keepers, past work.

`reading` makes a table of a CSV file, `columns` says what a list may hold and finds it in the head, `cells` reads one
cell, `checking` judges each row with what is on record, `making` makes the records, `giving` writes CSV out.
"""
