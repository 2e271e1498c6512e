// On a chart: keep it for work without a network.
import { day, differs, keep, kept, now, warning } from "./store.js";

const line = document.getElementById("keep-line");
const words = JSON.parse(document.getElementById("kept-words").textContent);
const button = line?.querySelector("button");
const says = line?.querySelector("[role=status]");

async function show() {
  const there = await kept(line.dataset.design);
  if (!there) return;
  button.textContent = words.again;
  const current = await now(line.dataset.design);
  // It is read with a network: keep what stands now.
  if (current && differs(current, there.document) && (await keep(line.dataset.design))) return show();
  says.textContent = `${words.revision.replace("{n}", there.document.revision).replace("{when}", day(there.document.published))} ${words.kept.replace("{when}", day(there.kept))}`;
  const warns = document.createElement("strong");
  warns.className = "attention";
  warns.textContent = warning(there, words);
  if (warns.textContent) says.append(" ", warns);
}

if (line && "caches" in self && navigator.serviceWorker) {
  navigator.serviceWorker.register("/sw.js").catch(() => {});
  line.hidden = false;
  button.addEventListener("click", async () => {
    let done = false;
    try {
      await navigator.serviceWorker.ready;
      done = await keep(line.dataset.design);
    } catch { /* said below */ }
    says.textContent = done ? words.done : words.failed;
    if (done) button.textContent = words.again;
  });
  show();
}
