// From the posterior of all explanations to a verdict, as consensus/diagnosis.py gives it.
import { nextReadings } from "./next.js";
import { OPEN, columnsOf, explain } from "./sums.js";

const isFaulty = (one) => (one.first > 0 && !one.harness) || one.second > 0 || Boolean(one.common);

// The verdict as the server gives it: good, faulty or undecided, with its reason and the causes.
export function check(tables, sheet) {
  const found = explain(tables, sheet), set = tables.settings;
  const sum = (list) => list.reduce((total, one) => total + one.p, 0);
  const faulty = sum(found.kept.filter(isFaulty));
  const good = sum(found.kept.filter((one) => !isFaulty(one))) + sum(found.others) + found.unknown * (1 - set.fault_rate);
  const dangers = openDangers(tables, found);
  const next = nextReadings(tables, found, isFaulty, [...new Set(dangers.map((danger) => danger.fault))]);
  let verdict = "undecided", reason = "evidence";
  if (!found.rows.length) reason = "no_readings";
  else if (shiftUntold(tables, found)) reason = "shift";
  else if (good >= set.good_p) [verdict, reason] = dangers.length ? ["undecided", "start_position"] : ["good", ""];
  else if (1 - good >= 1 - set.faulty_p && faulty > 0.5) [verdict, reason] = ["faulty", ""];
  return {
    verdict, reason, p_good: Math.min(Math.max(good, 0), 1), causes: causes(tables, found), dangers, next,
    variant: found.kept.length ? tables.variants[found.kept[0].variant].variant : null, compared: found.rows.length,
  };
}

// A worn contact stands for what was read there.
function seen(tables, found, one) {
  return one.symbols.map((symbol, n) => (symbol === tables.symbols + 1 ? (found.rows[n].showsOpen ? OPEN : tables.symbols - 1) : symbol)).join();
}

function kindsOf(tables, one) {
  const variant = tables.variants[one.variant], kinds = [];
  if (one.mistake > 0) kinds.push(variant.mistakes[one.mistake].kind);
  for (const fault of [one.first, one.second]) if (fault > 0) kinds.push(one.harness ? "harness_open" : variant.faults[fault].kind);
  if (one.common) kinds.push("resistive_common");
  return kinds;
}

function shiftUntold(tables, found) {
  if (!found.kept.length) return false;
  const best = seen(tables, found, found.kept[0]);
  let mass = 0;
  const told = new Set();
  for (const one of found.kept) {
    const kinds = kindsOf(tables, one);
    if (kinds.length !== 1 || !["shifted_positions", "detent_shift"].includes(kinds[0]) || seen(tables, found, one) !== best) continue;
    told.add(kinds[0]);
    mass += one.p;
  }
  return told.size === 2 && mass > 0.5;
}

// Faults that could pass for a start position and that no reading taken would have shown.
function openDangers(tables, found) {
  if (!found.kept.length) return [];
  const { variant: at, mistake } = found.kept[0], variant = tables.variants[at];
  const columns = found.rows.map((row) => columnsOf(variant)[variant.at[mistake][row.cell]]);
  return variant.dangers.filter(([fault]) => !columns.some((column) => column[fault] !== column[0])).map(([fault, position, passes]) => ({
    fault, kind: variant.faults[fault].kind, pins: variant.faults[fault].pins.map((pin) => tables.pins[pin]),
    position: tables.positions[position], passes_for: tables.positions[passes],
  }));
}

// What may be wrong, by the probability that it is there.
function causes(tables, found) {
  const named = new Map();
  const add = (key, p, more) => { if (named.has(key)) named.get(key).p += p; else named.set(key, { key, p, ...more }); };
  for (const one of found.kept) {
    const variant = tables.variants[one.variant];
    const name = (what) => [what.kind, what.pins.map((pin) => tables.pins[pin]), what.positions.map((row) => tables.positions[row])];
    if (one.mistake > 0) { const what = variant.mistakes[one.mistake]; add(JSON.stringify([...name(what), what.detail]), one.p, { of: "sheet" }); }
    for (const fault of [one.first, one.second]) {
      if (fault === 0) continue;
      const [kind, pins, positions] = name(variant.faults[fault]);
      add(JSON.stringify([one.harness ? "harness_open" : kind, pins, positions, variant.faults[fault].detail]), one.p, {
        of: one.harness ? "harness" : "unit", danger: !one.harness && variant.dangers.some(([at]) => at === fault),
      });
    }
    if (one.common) add(JSON.stringify(["resistive_common", tables.common === null ? [] : [tables.pins[tables.common]], [], ""]), one.p, { of: "unit" });
    if (one.variant > 0) add(JSON.stringify(["other_variant", [], [], ""]), one.p, { of: "choice" });
  }
  for (const one of found.others) add(JSON.stringify(["other_design", [], [], one.design]), one.p, { of: "choice" });
  add(JSON.stringify(["unknown", [], [], ""]), found.unknown, { of: "choice" });
  return [...named.values()].filter((one) => one.p >= 0.005).sort((one, other) => other.p - one.p).slice(0, 12);
}
