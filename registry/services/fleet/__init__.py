"""A workshop's vehicles: members, vehicles and distances, what is fitted in them, the calendar's link."""
