"""The job around the switch: each module a kind of deed, each deed an event."""
