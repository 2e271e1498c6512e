// Which reading would tell most, in bits, as consensus/reading_choice.py chooses it from the same explanations.
// The same readings as the server's are held by tests/journeys/test_offline.py.
import { OPEN, columnsOf } from "./sums.js";

const MOST = 5, ENOUGH = 150;

// Rows: what the pattern is in truth (unknown and worn last); columns: what is then read.
function outcomeTable(size, { miss, invent }) {
  const table = Array.from({ length: size + 2 }, () => new Array(size).fill(0)), odd = size - 1;
  table[OPEN][OPEN] = 1 - invent;
  table[OPEN][1] = invent;
  for (let symbol = 1; symbol < size; symbol += 1) { table[symbol][symbol] = 1 - miss; table[symbol][OPEN] = miss; }
  [[size, [0.5, 0.4, 0.1]], [size + 1, [0.5, 0.1, 0.4]]].forEach(([row, shares]) => {
    [OPEN, 1, odd].forEach((symbol, at) => { table[row][symbol] = shares[at]; });
  });
  return table;
}

const entropy = (values) => values.reduce((bits, p) => (p > 0 ? bits - p * Math.log2(p) : bits), 0);

// Mutual information in bits of a table of joint weights, outcome by class.
function gain(joint) {
  const total = joint.flat().reduce((sum, value) => sum + value, 0);
  if (!(total > 0)) return 0;
  const p = joint.map((row) => row.map((value) => value / total));
  const outcomes = p.map((row) => row.reduce((sum, value) => sum + value, 0));
  const classes = p[0].map((_value, kind) => p.reduce((sum, row) => sum + row[kind], 0));
  return Math.max(entropy(outcomes) + entropy(classes) - entropy(p.flat()), 0);
}

// What an explanation says that a cell shows; a detent that slips in one sweep alone slips in the next.
function shown(tables, one, cell, changes) {
  const variant = tables.variants[one.variant];
  const column = columnsOf(variant)[variant.at[one.mistake][cell]];
  const symbol = changes?.get(cell) ?? column[one.first];
  const through = one.common && variant.through[one.mistake][cell] === "1";
  return through && symbol !== OPEN && symbol < tables.symbols ? tables.symbols - 1 : symbol;
}

// By pair of faults: what the second changes of what the first shows.
function changesOf(variant, first, second) {
  const pair = second ? variant.pairs.find(([one, other]) => one === first && other === second) : null;
  if (!pair) return null;
  const changes = new Map();
  for (let at = 0; at < pair[3].length; at += 2) changes.set(pair[3][at], pair[3][at + 1]);
  return changes;
}

// One word for the set of an explanation's causes.
function causeOf(tables, one) {
  const { mistakes, faults } = tables.variants[one.variant];
  const name = ({ kind, pins, positions }, as = kind) => (kind === "none" ? null : [as, pins, positions]);
  const first = faults[one.first];
  return JSON.stringify([
    name(mistakes[one.mistake]), one.harness ? name(first, "harness_open") : name(first),
    name(faults[one.second]), Boolean(one.common),
  ]);
}

// Readings not yet taken, and those worth repeating, that tell most; first those that exclude a start in gear.
// isFaulty: of an explanation; dangers: numbers of the faults that nothing excludes yet.
export function nextReadings(tables, found, isFaulty, dangers) {
  if (!tables.places || !found.kept.length) return [];
  const kept = found.kept.slice(0, ENOUGH), { settings } = tables;
  const outcomes = outcomeTable(tables.symbols, settings);
  const causes = kept.map((one) => causeOf(tables, one)), kinds = [...new Set(causes)];
  const changes = kept.map((one) => changesOf(tables.variants[one.variant], one.first, one.second));
  const best = tables.variants[kept[0].variant], taken = new Set(found.rows.map((row) => row.cell));
  const told = (symbols, of, count) => {
    const joint = Array.from({ length: tables.symbols }, () => new Array(count).fill(0));
    symbols.forEach((symbol, n) => outcomes[symbol].forEach((share, read) => { joint[read][of[n]] += kept[n].p * share; }));
    return gain(joint);
  };
  const faulty = kept.map((one) => Number(isFaulty(one))), cause = causes.map((name) => kinds.indexOf(name));
  const all = tables.places.map((cell, place) => {
    const symbols = kept.map((one, n) => shown(tables, one, cell, changes[n]));
    const column = columnsOf(best)[best.at[0][cell]], again = taken.has(cell);
    return {
      place, repeat: again, bits: told(symbols, faulty, 2), bitsCause: told(symbols, cause, kinds.length),
      excludes: again ? 0 : dangers.filter((fault) => column[fault] !== column[0]).length,
    };
  });
  all.sort((one, other) => other.excludes - one.excludes || other.bits + 0.2 * other.bitsCause - one.bits - 0.2 * one.bitsCause);
  const most = all.slice(0, MOST).sort((one, other) => other.excludes - one.excludes || other.bits - one.bits);
  return most.filter((one) => one.bits > 1e-4 || one.bitsCause > 1e-3 || one.excludes).map((one) => ({ ...one, ...placeOf(tables, one.place) }));
}

function placeOf(tables, place) {
  const cell = tables.places[place], [slot, named] = [Math.floor(cell / tables.named.length), cell % tables.named.length];
  const [low, high] = tables.named[named];
  const [pin, against] = low === tables.common ? [high, low] : [low, high];
  return { position: tables.positions[tables.slots[slot][0]], pin: tables.pins[pin], against: tables.pins[against] };
}
