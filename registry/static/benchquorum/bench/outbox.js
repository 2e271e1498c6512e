// Sheets that wait for a network go out by themselves.  The client-made id keeps a replay from being a second sheet.
import { drafts, drop, keep } from "./drafts.js";
import { keepPictures, picturesOf } from "./pictures.js";

const RECEIPT = /\/(sheets|jobs)\/[0-9a-f-]{36}\/$/;

export function token() {
  return document.cookie.match(/(?:^|; )(?:__Host-)?csrftoken=([^;]+)/)?.[1] ?? "";
}

export function body(entries, more = {}) {
  const form = new FormData();
  for (const [name, value] of entries) if (name !== "csrfmiddlewaretoken") form.append(name, value);
  for (const [name, value] of Object.entries(more)) form.set(name, value);
  return form;
}

// "sent" with the sheet's address, "offline", "sign-in", or "refused" with the page that says why
export async function send(draft) {
  let answer;
  const kept = await picturesOf(draft.id);
  const pictures = (kept ?? []).map((file) => ["pictures", file]);
  try {
    answer = await fetch(draft.url, {
      method: "POST",
      body: body([...draft.entries, ...pictures], { act: "send" }),
      headers: { "X-CSRFToken": token() },
      credentials: "same-origin",
    });
  } catch {
    return { outcome: "offline" };
  }
  const where = new URL(answer.url).pathname;
  if (answer.ok && RECEIPT.test(where)) {
    // The sheet last: a page closed between the two sends it once more, and the registry knows it.
    if (kept) await keepPictures(draft.id, []);
    await drop(draft.id);
    return { outcome: "sent", where };
  }
  if (answer.status === 403 || where.startsWith("/account/")) return { outcome: "sign-in" };
  if (answer.status === 400) {
    const page = await answer.text();
    await keep({ ...draft, state: "refused" });
    return { outcome: "refused", page };
  }
  return { outcome: "offline" };
}

let busy = false;

// Every queued sheet, one after the other; never two runs at once, not in two tabs either.
export async function sendQueued(told) {
  if (busy) return;
  busy = true;
  try {
    const run = async () => {
      for (const draft of (await drafts()).filter((each) => each.state === "queued")) {
        told(draft, await send(draft));
      }
    };
    if (navigator.locks) await navigator.locks.request("benchquorum-outbox", run);
    else await run();
  } finally {
    busy = false;
  }
}
