"""Sign-in and all pages for staff. `server.staff.blueprint.make_staff` is the way in."""
