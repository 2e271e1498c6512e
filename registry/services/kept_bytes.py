"""Whether what is published is still what its digest names."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator

from registry.models import AuditEntry, ChartRevision, ReliabilitySnapshot
from registry.selectors.evidence import digest_of


def changed_bytes() -> Iterator[str]:
    """A sentence for each revision or snapshot whose content differs from its digest, or from the log."""
    yield from _unlike_the_log()
    revisions = ChartRevision.objects.order_by("pk")
    for revision in revisions.iterator(chunk_size=50):
        if hashlib.sha256(bytes(revision.content)).hexdigest() != revision.content_sha256:
            yield f"{revision}: its bytes are not those of its digest"
        if revision.inputs and digest_of(revision.inputs) != revision.digest:
            yield f"{revision}: its inputs are not those of its digest"
    for snapshot in ReliabilitySnapshot.objects.order_by("number").iterator():
        if digest_of(snapshot.content) != snapshot.digest:
            yield f"{snapshot}: its content is not that of its digest"


def _unlike_the_log() -> Iterator[str]:
    """Revisions that were published with other bytes, by what the log says, or that are gone since."""
    there = dict(ChartRevision.objects.values_list("uuid", "content_sha256"))
    told = AuditEntry.objects.filter(action="revision_publish").exclude(number=None).order_by("number")
    for number, uuid, detail in told.values_list("number", "target_uuid", "detail").iterator():
        if uuid is None or there.get(uuid) != detail["content_sha256"]:
            yield f"revision {uuid}: not the one whose publication is entry {number} of the log"
