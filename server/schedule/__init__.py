"""Follow-up plans and dates in; timepoints, windows, statuses and due messages out. No clock, no database, no files.

`dates` knows days, instants and zones; `plan` is a follow-up plan as data and `parsing` reads one; `course` holds the
dates of one follow-up, `timepoints` makes its timepoints and `reconcile` compares them with those kept; `window` says
where an answer lies, `status` has the state table, `ladder` the message that is due.
"""
