"""The computation behind the records: pure functions, the standard library and Pint, nothing else.

Every module can be imported and tested without a database. A computed value informs; it never
replaces the maker's specification.
"""
