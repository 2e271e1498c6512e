// On every page: sheets that waited for a network go out, and the person is told.
import { sendQueued } from "./outbox.js";

const words = JSON.parse(document.getElementById("queue-words").textContent);

function tell(draft, { outcome, where }) {
  const text = {
    sent: words.sent, offline: words.waiting, "sign-in": words.waits_sign_in, refused: words.refused_sheet,
  }[outcome];
  const line = document.createElement("li");
  const link = document.createElement("a");
  link.textContent = draft.name;
  link.href = where ?? draft.url;
  line.append(link, ": ", text);
  document.getElementById("queue-told").append(line);
  document.getElementById("queue-told").hidden = false;
}

const run = () => {
  document.getElementById("queue-told").replaceChildren();
  sendQueued(tell);
};
addEventListener("online", run);
run();
// Bench sheets open without a network; signing out forgets them.
navigator.serviceWorker?.register("/sw.js").catch(() => {});
for (const form of document.querySelectorAll("form[action$='/logout/']")) {
  form.addEventListener("submit", () => navigator.serviceWorker?.controller?.postMessage("forget"));
}
