// The page of what this device keeps, with revision and date, and a warning where it may no longer hold.
import { all, day, differs, drop, keep, now, warning } from "./store.js";

const words = JSON.parse(document.getElementById("kept-words").textContent);
const list = document.getElementById("kept-list");

function made(tag, text, attributes = {}) {
  const element = document.createElement(tag);
  element.textContent = text;
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  return element;
}

function row({ uuid, document: chart, kept }) {
  const item = document.createElement("li");
  const revision = words.revision.replace("{n}", chart.revision).replace("{when}", day(chart.published));
  item.append(made("a", chart.name, { href: `/designs/${uuid}/` }), " ", made("span", `${revision} ${words.kept.replace("{when}", day(kept))}`, { class: "quiet" }));
  const warns = made("p", "", { class: "attention", role: "status" });
  warns.textContent = warning({ document: chart, kept }, words);
  const acts = made("p", "", { class: "acts" });
  if (!chart.withdrawn) acts.append(made("a", words.check, { class: "button", href: `/designs/${uuid}/check/` }));
  const forget = made("button", words.drop, { type: "button", class: "plain-button" });
  forget.addEventListener("click", async () => { await drop(uuid); show(); });
  acts.append(forget);
  item.append(warns, acts);
  now(uuid).then(async (current) => {
    if (!current || !differs(current, chart)) return;
    if (await keep(uuid)) return show(); // it stands otherwise now: keep that
    warns.textContent = current.withdrawn ? words.withdrawn.replace("{reason}", current.withdrawn) : words.newer;
  });
  return item;
}

async function show() {
  const found = "caches" in self ? await all() : [];
  list.replaceChildren(...found.map(row));
  document.getElementById("kept-none").hidden = found.length > 0;
}
show();
