// Wires the bench sheet together: setup, one reading at a time, comparison, sending.  Without this module the page
// is a plain form that does the same.
import { draftOf, drop, keep, who } from "./drafts.js";
import { OneAtATime } from "./one.js";
import { body, send, token } from "./outbox.js";
import { keepPictures, picturesOf } from "./pictures.js";

const data = JSON.parse(document.getElementById("bench-data").textContent);
const form = document.getElementById("bench");
const isCheck = form.dataset.kind === "check";
const draftLine = document.getElementById("draft");
const gridFields = new Set(data.steps.map((step) => step.name));
let started = false, compared = 0, taking = Promise.resolve();

const one = new OneAtATime(form, data, { changed: save, finished: compare, left: leave });

function entries() {
  return [...new FormData(form)].filter(([name, value]) => name !== "csrfmiddlewaretoken" && !(value instanceof File));
}

function clientId() {
  return form.elements.client_id?.value || data.design;
}

// The worker gives a kept page out for more than one unit: each sheet begun on it has an id of its own.
function renew() {
  const begun = form.elements.first?.value || document.querySelector("#bench [aria-invalid], .problems, #send-acts");
  if (form.elements.client_id && !begun && crypto.randomUUID) form.elements.client_id.value = crypto.randomUUID();
}

function asDraft(state) {
  return {
    id: clientId(), who: who(), design: data.design, name: data.name, url: location.pathname, entries: entries(),
    at: one.at, state,
  };
}

async function save() {
  if (!(await keep(asDraft("open")))) say(data.words.not_kept);
}

function say(text, ...buttons) {
  draftLine.replaceChildren(document.createTextNode(text + " "), ...buttons);
  draftLine.hidden = false;
}

function begin(at) {
  started = true;
  one.showAll();
  one.open(at);
}

function leave() {
  one.close();
  document.getElementById("start")?.focus();
}

// The same post as without scripts; only the part that compares is taken out of the answer.
async function compare() {
  const turn = ++compared;
  one.close();
  await save();
  let page;
  try {
    const answer = await fetch(location.pathname + location.search, {
      method: "POST", body: body(entries(), { act: "compare" }), credentials: "same-origin",
      headers: { "X-CSRFToken": token() },
    });
    page = new DOMParser().parseFromString(await answer.text(), "text/html");
  } catch {
    return offline();
  }
  if (turn === compared) show(page);
}

function show(page) {
  fold(false);
  const fresh = page.getElementById("comparison");
  if (!fresh) return offline();
  document.getElementById("comparison").replaceWith(document.adoptNode(fresh));
  const first = page.querySelector("input[name=first]")?.value;
  if (first && form.elements.first) form.elements.first.value = first;
  const problems = page.querySelector(".problems[role=alert]");
  document.querySelector("#around .problems")?.remove();
  if (problems) {
    document.getElementById("around").append(document.adoptNode(problems));
    for (const wrong of page.querySelectorAll("#bench [aria-invalid]")) invalid(wrong, page);
  }
  acts(!problems && !isCheck);
  save();
  const title = problems ? document.querySelector("#around .problems") : document.getElementById("comparison");
  title.setAttribute("tabindex", "-1");
  title.focus();
  title.scrollIntoView({ block: "start" });
  if (!problems) document.getElementById("send")?.focus({ preventScroll: true });
}

// The server's sentences beside the fields of this page
function invalid(wrong, page) {
  const here = form.elements[wrong.name];
  if (!here?.setAttribute) return;
  here.setAttribute("aria-invalid", "true");
  const line = page.getElementById(`${wrong.name}-wrong`) ?? page.getElementById(`${wrong.id}_error`);
  document.getElementById(line?.id)?.remove();
  if (line) here.after(document.adoptNode(line));
  here.closest("details")?.setAttribute("open", "");
}

function acts(maySend) {
  document.getElementById("send-acts")?.remove();
  if (!maySend) return;
  const line = document.createElement("div");
  line.id = "send-acts";
  line.className = "acts";
  const words = document.getElementById("bench-acts").content;
  line.append(words.cloneNode(true));
  document.getElementById("comparison").after(line);
}

// A check is worked out on the device where it keeps the chart.
async function here() {
  const { checkHere } = await import("../offline/here.js");
  return checkHere(form, data);
}

async function offline() {
  if (isCheck && (await here())) return fold(false);
  say(data.words.no_network);
  acts(!isCheck);
  draftLine.scrollIntoView({ block: "nearest" });
  document.getElementById("send")?.focus();
}

// As without this module: for a browser that keeps nothing.
function plainly(act) {
  const field = Object.assign(document.createElement("input"), { type: "hidden", name: "act", value: act });
  form.append(field);
  form.submit();
}

async function sendSheet() {
  const sheet = asDraft("queued");
  if (!(await keep(sheet))) return plainly("send");
  const kept = await savePictures();
  const { outcome, where, page } = await send(sheet);
  if (outcome === "sent") {
    location.assign(where);
  } else if (outcome === "refused") {
    show(new DOMParser().parseFromString(page, "text/html"));
  } else {
    const waits = outcome === "sign-in" ? data.words.waits_sign_in : data.words.waiting;
    say(kept ? waits : `${waits} ${data.words.pictures_not_kept}`, ...another());
    document.getElementById("send-acts")?.remove();
    form.inert = true; // it is on its way as it is: what is typed now would not go with it
  }
}

// The way to the next sheet, which a job doesn't have.
function another() {
  if (form.elements.job) return [];
  const link = document.createElement("a");
  link.href = location.pathname;
  link.textContent = data.words.another;
  return [link];
}

// Chosen pictures are kept at once, as readings are.
async function savePictures() {
  const field = document.getElementById("pictures");
  if (!field) return true;
  await taking; // a field that is not filled yet would forget what is kept
  const kept = await keepPictures(clientId(), field.files);
  if (!kept) say(data.words.pictures_not_kept);
  return kept;
}

async function takePictures(id) {
  const field = document.getElementById("pictures");
  const files = await picturesOf(id);
  if (!field || !files?.length) return;
  const chosen = new DataTransfer();
  for (const file of files) chosen.items.add(file);
  field.files = chosen.files;
}

async function offerDraft() {
  const draft = await draftOf(data.design);
  if (!draft || form.elements.first?.value) return;
  const taken = draft.entries.filter(([name, value]) => gridFields.has(name) && value).length;
  if (!taken) return;
  const when = new Date(draft.saved).toLocaleString(document.documentElement.lang, { dateStyle: "medium", timeStyle: "short" });
  const text = data.words.go_on.replace("{when}", when).replace("{n}", taken).replace("{all}", data.steps.length);
  if (new URLSearchParams(location.search).get("go_on")) return takeUp(draft);
  const words = document.getElementById("draft-acts").content;
  say(text, words.cloneNode(true));
  draftLine.querySelector("[data-do=go-on]").addEventListener("click", () => takeUp(draft));
  draftLine.querySelector("[data-do=discard]").addEventListener("click", async () => {
    if (!confirm(data.words.discard_sure.replace("{n}", taken))) return;
    await keepPictures(draft.id, []);
    await drop(draft.id);
    draftLine.hidden = true;
  });
}

function takeUp(draft) {
  const asked = Object.fromEntries(draft.entries);
  if (asked.sweeps !== form.elements.sweeps.value || asked.between !== form.elements.between.value) {
    const address = new URLSearchParams(location.search);
    // Without a network the worker may have kept another form of this page only.
    if (address.has("go_on")) return say(data.words.other_page);
    return location.assign(`?${wayOfReading(asked)}`);
  }
  for (const [name, value] of draft.entries) {
    const field = form.elements[name];
    if (!field) continue;
    if (field instanceof RadioNodeList || field.type === "radio") form.elements[name].value = value;
    else if (field.type === "checkbox") field.checked = true;
    else field.value = value;
  }
  draftLine.hidden = true;
  taking = takePictures(draft.id);
  begin(Math.max(firstEmpty(), Math.min(draft.at + 1, data.steps.length - 1)));
}

// As the links of the page write it, so that the worker finds what it kept.
function wayOfReading({ sweeps, between }) {
  const address = new URLSearchParams();
  if (between) address.set("between", "1");
  if (sweeps > 1) address.set("sweeps", sweeps);
  address.set("go_on", "1");
  return address;
}

function firstEmpty() {
  const at = data.steps.findIndex((step) => !form.elements[step.name].value.trim());
  return at < 0 ? data.steps.length - 1 : at;
}

// One at a time is the way to work; the whole table is a button away, and there once something is to be put right.
function fold(folded) {
  const line = document.getElementById("table-line");
  if (!line) return;
  line.hidden = !folded;
  document.getElementById("all-readings").hidden = folded;
  document.getElementById("plain-acts").hidden = folded;
  document.getElementById("whole-table").onclick = () => {
    fold(false);
    document.querySelector("#all-readings input").focus();
  };
}

function flip() {
  for (const svg of document.querySelectorAll("svg.connector")) {
    const width = svg.viewBox.baseVal.width;
    for (const pin of svg.querySelectorAll("[data-pin]")) {
      const box = pin.querySelector("rect");
      const x = Number(box.getAttribute("x")), mirrored = width - x - Number(box.getAttribute("width"));
      for (const part of pin.children) part.setAttribute("x", Number(part.getAttribute("x")) + mirrored - x);
    }
  }
}

document.getElementById("options").hidden = false;
document.getElementById("start-line").hidden = false;
document.getElementById("facing").hidden = false;
document.getElementById("flip").addEventListener("click", flip);
fold(!document.querySelector("#bench [aria-invalid], #send-acts") && !isCheck);
form.addEventListener("submit", (event) => {
  const act = event.submitter?.value;
  if (act === "keep") return; // a post like any other
  event.preventDefault();
  if (act === "send") sendSheet();
  else if (event.submitter?.id === "start" || (event.submitter?.id === "default-act" && !started)) begin(firstEmpty());
  else compare();
});
form.addEventListener("input", (event) => {
  const at = data.steps.findIndex((step) => step.name === event.target.name);
  if (at >= 0) one.show(at);
  save();
});
document.getElementById("pictures")?.addEventListener("change", savePictures);
document.addEventListener("click", (event) => {
  const again = event.target.closest("[data-again]");
  if (!again) return;
  const at = data.steps.findIndex((step) => step.name === again.dataset.again);
  if (at < 0) return;
  event.preventDefault();
  one.open(at, true);
});
renew();
offerDraft();
