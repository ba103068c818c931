"""What a running server does by itself: intake after each post, the calendar, sending, housekeeping."""
