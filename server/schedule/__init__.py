"""Follow-up plans and dates in; timepoints, windows, statuses and due messages out. No clock, no database, no files."""
