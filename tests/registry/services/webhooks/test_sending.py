"""Webhooks: frozen at the event, signed, tried again, given up, replayed; and nowhere inside."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from api.client.webhooks import read_delivery
from registry.models import Change, User, Webhook, WebhookDelivery
from registry.services.changes import change_note
from registry.services.webhooks.keeping import delivery_replay, webhook_replay, webhook_secret
from registry.services.webhooks.sending import DEAD_TO_PAUSE, PAUSES, deliveries_send, deliveries_task
from registry.services.workers import round_of_care
from registry.tasks import send_webhooks
from tests.api.made import made_design
from tests.registry.services.webhooks.made import Receiver, later, made, noted

State = WebhookDelivery.State


def test_what_is_sent_is_signed_and_comes_in_order(inside: None, user: User, receiver: Receiver) -> None:
    noted(3, when="before")
    _webhook, secret = made(user, receiver.url)
    noted(250, when="after")
    assert deliveries_send() == 3
    documents = [read_delivery(secret, headers, body) for headers, body in receiver.heard]
    lines = [line for document in documents for line in document["results"]]
    assert [line["number"] for line in lines] == list(range(4, 254))
    assert {line["payload"]["when"] for line in lines} == {"after"}
    assert [document["last"] for document in documents] == [103, 203, 253]
    assert deliveries_send() == 0
    headers, body = receiver.heard[0]
    for wrong in (body + b" ", body.replace(b"after", b"later")):
        with pytest.raises(ValueError, match="signature"):
            read_delivery(secret, headers, wrong)
    with pytest.raises(ValueError, match="too old"):
        read_delivery(secret, headers, body, now=timezone.now().timestamp() + 301)


def test_a_later_try_sends_the_same_bytes_whatever_changed(
    inside: None, user: User, receiver: Receiver
) -> None:
    made(user, receiver.url)
    noted(1, state="as it was")
    receiver.answers = [503, 302]
    deliveries_send()
    Change.objects.update(payload={"state": "as it is now"})
    for _try in range(2):
        later()
        deliveries_send()
    assert len(receiver.heard) == 3  # a redirect is a failure, and nobody goes there
    bodies, ids = {body for _h, body in receiver.heard}, {h["Webhook-Id"] for h, _b in receiver.heard}
    assert len(bodies) == len(ids) == 1 and b"as it was" in bodies.pop()
    delivery = WebhookDelivery.objects.get()
    assert (delivery.state, delivery.tries, delivery.status) == (State.DELIVERED, 3, 200)


def test_tries_wait_longer_and_longer_and_end_as_a_dead_letter(
    inside: None, user: User, receiver: Receiver
) -> None:
    made(user, receiver.url)
    noted()
    receiver.answers = [500] * 20
    pauses = []
    for _try in range(len(PAUSES) + 1):
        deliveries_send()
        delivery = WebhookDelivery.objects.get()
        pauses.append(round((delivery.next_at - timezone.now()).total_seconds()))
        assert deliveries_send() == 0  # not before its time
        later()
    assert (delivery.state, delivery.tries) == (State.DEAD, len(PAUSES) + 1)
    assert pauses[:-1] == [pytest.approx(pause, abs=2) for pause in PAUSES]
    receiver.answers = []
    delivery_replay(by=user, delivery=delivery)
    assert deliveries_send() == 1
    assert WebhookDelivery.objects.get().state == State.DELIVERED
    assert len({body for _headers, body in receiver.heard}) == 1


@pytest.mark.parametrize(("answer", "in_vain"), [(410, 0), (500, DEAD_TO_PAUSE - 1)])
def test_a_receiver_that_is_gone_is_left_alone_until_it_is_asked_for(
    inside: None, user: User, receiver: Receiver, answer: int, in_vain: int
) -> None:
    webhook, _secret = made(user, receiver.url)
    noted()
    Webhook.objects.update(in_vain=in_vain)
    receiver.answers = [503, answer]
    deliveries_send()
    WebhookDelivery.objects.update(tries=len(PAUSES))  # the next try is the last
    later()
    deliveries_send()
    webhook.refresh_from_db()
    assert webhook.paused_at is not None and WebhookDelivery.objects.get().state == State.DEAD
    noted(2)
    assert deliveries_send() == 0
    webhook_replay(by=user, webhook=webhook, since=0)
    deliveries_send()
    assert json.loads(receiver.heard[-1][1])["last"] == 3


def test_only_what_was_asked_for_is_sent(inside: None, user: User, receiver: Receiver) -> None:
    design = made_design(user)
    wanted = "chart_withdrawn"
    made(user, receiver.url, kinds=[wanted], design=str(design.uuid))
    for kind, of in (
        ("chart_withdrawn", design.uuid),
        ("chart_withdrawn", None),
        ("sheet_added", design.uuid),
    ):
        change_note(kind=kind, design=of, payload={})
    deliveries_send()
    ((_headers, body),) = receiver.heard
    assert [(line["kind"], line["design"]) for line in json.loads(body)["results"]] == [
        (wanted, str(design.uuid))
    ]


def test_another_secret_signs_what_is_sent_from_then_on(inside: None, user: User, receiver: Receiver) -> None:
    webhook, first = made(user, receiver.url)
    second = webhook_secret(by=user, webhook=webhook)
    noted()
    deliveries_send()
    read_delivery(second, *receiver.heard[0])
    with pytest.raises(ValueError, match="signature"):
        read_delivery(first, *receiver.heard[0])
    assert second not in str(Webhook.objects.values()) and first != second


def test_with_a_queue_one_task_sends_and_one_waits_for_the_next_try(
    settings: Any, user: User, receiver: Receiver, django_capture_on_commit_callbacks: Any
) -> None:
    settings.DEBUG = settings.BENCHQUORUM_WEBHOOK_PRIVATE = True
    settings.TASKS_QUEUE = "database"
    settings.TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}
    tasks = DBTaskResult.objects.filter(task_path=send_webhooks.module_path)
    made(user, receiver.url)
    for _change in range(2):
        with django_capture_on_commit_callbacks(execute=True):
            noted()
    assert tasks.count() == 1
    tasks.delete()
    receiver.answers = [500]
    deliveries_task()
    deliveries_task()
    (task,) = tasks
    assert 5 < (task.run_after - timezone.now()).total_seconds() <= PAUSES[0]
    later()
    with django_capture_on_commit_callbacks(execute=True):
        round_of_care()  # as a worker's round finds it, whatever became of that task
    assert tasks.all().count() == 2
