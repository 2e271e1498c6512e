"""What the machine room keeps: which workers live, which designs could not be computed, what a clock ran."""

from __future__ import annotations

from django.db import models

from registry.models.base import one_of
from registry.models.catalogue import Design


class WorkerBeat(models.Model):
    """A worker process says that it lives; the tasks of one that fell silent are taken over."""

    worker_id = models.CharField(max_length=64, unique=True)
    host = models.CharField(max_length=100)
    pid = models.PositiveIntegerField()
    started_at = models.DateTimeField()
    seen_at = models.DateTimeField()  # by the database's clock: those of the machines may differ

    def __str__(self) -> str:
        return f"worker {self.worker_id}"


class ClockCommand(models.TextChoices):
    AUDIT = "audit"
    BACKUP = "backup"
    DUE = "due"


class ClockRun(models.Model):
    """When a command that a clock runs last ended well."""

    Command = ClockCommand

    command = models.CharField(max_length=10, choices=ClockCommand, unique=True)
    ended_at = models.DateTimeField()  # by the database's clock

    class Meta:
        constraints = [one_of("command", ClockCommand, "clock_command_known")]

    def __str__(self) -> str:
        return f"{self.command} at {self.ended_at}"


class SignUpBlock(models.Model):
    """Sign-ups of a day from one block of addresses, of which only a keyed digest is kept."""

    digest = models.CharField(max_length=64, unique=True)
    day = models.DateField(db_index=True)
    count = models.PositiveIntegerField(default=0)

    def __str__(self) -> str:
        return f"sign-ups of {self.day}"


class CodeUsed(models.Model):
    """A one-time code that was taken once, as a keyed digest: nobody takes it again."""

    digest = models.CharField(max_length=64, unique=True)
    at = models.DateTimeField(db_index=True)

    def __str__(self) -> str:
        return f"code used {self.at}"


class RefreshTrouble(models.Model):
    """A design whose refresh failed; parked after several failures, until somebody has looked at it."""

    design = models.OneToOneField(Design, on_delete=models.CASCADE, related_name="trouble")
    failures = models.PositiveIntegerField(default=0)
    error = models.CharField(max_length=200)  # kind of the error and its first line, or that the worker died
    failed_at = models.DateTimeField()
    parked_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"trouble with design {self.design_id}"
