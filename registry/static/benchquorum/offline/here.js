// The check page without a network: the verdict from the tables that this device keeps.
import { NeedsNetwork } from "./curves.js";
import { ohms, parse } from "./figures.js";
import { day, kept, warning } from "./store.js";
import { check } from "./verdict.js";

const LIMIT = 2e7;
const BITS = { minimumFractionDigits: 2, maximumFractionDigits: 2 };

function made(tag, text, name = "") {
  const element = document.createElement(tag);
  element.textContent = text;
  if (name) element.className = name;
  return element;
}

const fill = (text, values) => Object.entries(values).reduce((said, [name, value]) => said.replaceAll(`{${name}}`, value), text);

function percent(p, words) {
  if (p < 0.01) return words.under;
  return p > 0.99 ? words.over : `${Math.round(100 * p)} %`;
}

// The readings of the form as the tables take them, or the text that can't be read.
export function sheetOf(form, steps) {
  const value = (name) => form.elements[name]?.value?.trim() ?? "";
  const limit = value("limit_ohm") ? ohms(value("limit_ohm")) : LIMIT;
  const lead = value("lead_ohm") ? ohms(value("lead_ohm")) : 0;
  if (!(limit > 0) || !(lead >= 0)) return { wrong: value("limit_ohm") || value("lead_ohm") };
  const readings = [];
  for (const step of steps) {
    const text = value(step.name);
    const read = parse(text, value("apart_shows"), limit);
    if (!read) return { wrong: text };
    if (read.kind !== "not_taken") readings.push({ position: step.position, pin: step.pin, against: step.against, sweep: step.sweep, between: step.between, limit, lead, ...read });
  }
  return { read_at: value("read_at") || "bench", readings };
}

// True if this device could say something.
export async function checkHere(form, data) {
  const uuid = data.design.replace(/^check-/, "");
  const there = "caches" in self ? await kept(uuid) : null;
  if (!there) return false;
  const { document: chart } = there;
  const place = document.getElementById("comparison");
  const parts = [];
  if (chart.withdrawn || !chart.tables) {
    // what was kept before its words came along says the bare reason
    parts.push(made("p", chart.words ? warning(there, chart.words) : chart.withdrawn, "says attention"));
  } else {
    parts.push(...said(chart, sheetOf(form, data.steps), data.steps));
    const when = `${fill(chart.words.here, { n: chart.revision, when: day(chart.published) })} ${fill(chart.words.kept, { when: day(there.kept) })}`;
    parts.push(made("p", when, "quiet"));
    const warns = warning(there, chart.words);
    if (warns) parts.push(made("p", warns, "says attention"));
  }
  place.replaceChildren(...parts);
  place.dataset.here = "1";
  place.focus();
  place.scrollIntoView({ block: "start" });
  return true;
}

function said(chart, sheet, steps) {
  const { tables, words } = chart;
  if (sheet.wrong !== undefined) return [made("p", fill(words.wrong, { text: sheet.wrong }), "says attention")];
  let found;
  try {
    found = check(tables, sheet);
  } catch (error) {
    if (error instanceof NeedsNetwork) return [made("p", words.needs, "says attention")];
    throw error;
  }
  const share = percent(found.p_good, words);
  const parts = [];
  if (found.reason === "start_position") parts.push(dangers(found, words));
  const verdict = made("p", fill(words.verdicts[found.reason || found.verdict], { share }), "verdict");
  Object.assign(verdict.dataset, { verdict: found.verdict, pGood: found.p_good });
  parts.push(made("h2", words.title), verdict, made("p", fill(words.agree, { n: found.compared }), "quiet"));
  const likely = found.causes.filter((cause) => cause.p >= 0.01 && words.causes[cause.key]).slice(0, 5);
  if (likely.length) {
    const list = made("ul", "", "rows");
    for (const cause of likely) {
      const item = made("li", fill(words.causes[cause.key], { p: percent(cause.p, words) }));
      if (cause.of === "sheet" || cause.of === "choice") item.append(" ", made("span", words.of_sheet, "quiet"));
      if (cause.danger) item.append(" ", made("strong", words.release, "danger"));
      list.append(item);
    }
    parts.push(made("h3", words.explain), list);
  }
  if (!words.places) parts.push(made("p", words.next_needs ?? words.next, "quiet")); // kept before the tables told it
  else if (found.next.length) parts.push(made("h3", words.next), readNext(found.next, words, steps));
  return parts;
}

function readNext(next, words, steps) {
  const list = made("ol", "");
  for (const reading of next) {
    const step = steps.find((one) => !one.between && one.position === reading.position && samePins(one, reading));
    const item = made("li", ""), place = words.places[reading.place];
    const link = made(step ? "a" : "span", place);
    if (step) { link.href = `#${step.name}`; link.dataset.again = step.name; }
    item.append(link, reading.repeat ? ` ${words.again}` : "");
    if (reading.bits >= 0.01) item.append(" ", made("span", `${reading.bits.toLocaleString(document.documentElement.lang, BITS)} ${words.bits}`, "quiet"));
    list.append(item);
  }
  return list;
}

const samePins = (one, other) => [one.pin, one.against].sort().join("\n") === [other.pin, other.against].sort().join("\n");

function dangers(found, words) {
  const box = made("div", "", "problems"), list = made("ul", "");
  for (const danger of found.dangers) {
    const position = danger.kind === "worn_contact" ? [danger.position] : [];
    const clause = Object.entries(words.dangers).find(([key]) => {
      const [kind, pins, positions] = JSON.parse(key);
      return kind === danger.kind && pins.join() === danger.pins.join() && positions.join() === position.join();
    })?.[1] ?? danger.kind;
    list.append(made("li", fill(words.danger, { position: danger.position, passes_for: danger.passes_for, fault: clause })));
  }
  box.append(made("h2", words.danger_title), list);
  return box;
}
