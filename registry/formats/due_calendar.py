"""The due list as an iCalendar file (RFC 5545), written by a library: all-day events, so in no time zone."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from icalendar import Calendar, Event


@dataclass(frozen=True)
class DueDay:
    """uid: stays the same for a vehicle, so that a calendar moves its entry instead of making another."""

    uid: str
    day: date
    title: str
    says: str


def due_calendar(name: str, days: Iterable[DueDay], *, made_at: datetime) -> bytes:
    """made_at: with its time zone; written in UTC."""
    calendar = Calendar()
    calendar.add("prodid", "-//Benchquorum//Fleet//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", name)
    for due in days:
        event = Event()
        event.add("uid", due.uid)
        event.add("dtstamp", made_at)
        event.add("dtstart", due.day)
        event.add("dtend", due.day + timedelta(days=1))
        event.add("summary", due.title)
        event.add("description", due.says)
        event.add("transp", "TRANSPARENT")
        calendar.add_component(event)
    return calendar.to_ical()
