// Checks a suspect without a network: looks the readings up in tables that the server made and adds them up.
// What each name means: consensus/offline_tables.py and offline_readings.py; the same verdict as the server's
// is held by tests/journeys/test_offline.py.
import { curveAt, Hands, NeedsNetwork } from "./curves.js";

const LOWEST = 0.03;
const LETTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz";
export const OPEN = 0;

const symbolOf = (char) => (LETTERS.includes(char) ? LETTERS.indexOf(char) : char.charCodeAt(0) - 0x100);
const decoded = new WeakMap();

export function columnsOf(variant) {
  if (!decoded.has(variant)) decoded.set(variant, variant.columns.map((text) => Array.from(text, symbolOf)));
  return decoded.get(variant);
}

// The readings that the chart has a place for, each with what its figure looks like.
function laid(tables, sheet) {
  const found = [];
  const set = tables.settings;
  for (const reading of sheet.readings) {
    const position = tables.positions.indexOf(reading.position);
    const [a, b] = [tables.pins.indexOf(reading.pin), tables.pins.indexOf(reading.against)].sort((p, q) => p - q);
    const slot = tables.slots.findIndex(([at, between]) => at === position && between === Boolean(reading.between));
    if (position < 0 || slot < 0 || a < 0 || a === b) continue;
    const named = tables.named.findIndex(([p, q]) => p === a && q === b);
    if (named < 0) return null; // a pair that is not in the tables
    const low = reading.low - reading.lead, high = reading.high - reading.lead;
    const bare = reading.kind === "continuity", over = reading.kind === "over_limit";
    const figure = !bare && !over;
    const y = figure ? Math.sqrt(Math.max(low, LOWEST) * Math.max(high, LOWEST)) : NaN;
    const leak = figure && y >= set.open_above;
    found.push({
      cell: slot * tables.named.length + named, sweep: reading.sweep, limit: reading.limit, y, bare, over, figure,
      wander: reading.kind === "range" && low < set.closed_below && high >= set.closed_below,
      showsOpen: over || leak, showsContact: bare || (figure && !leak), typed: reading,
    });
  }
  return found;
}

// {log, slip: by symbol; worn: of its three kinds; flat}: what one reading is worth.
function worth(readings, reading, levels) {
  const { used } = readings, size = used.length;
  let row;
  if (reading.over) row = readings.over.map((value, at) => (beyond(reading, used[at % size], levels, at, size) ? readings.low[at] : value));
  else if (reading.bare) row = readings.bare;
  else row = readings.curves.map((curve) => curveAt(curve, Math.log(reading.y)));
  const wander = reading.wander ? readings.wander : row;
  const log = [], slip = [];
  used.forEach((symbol, at) => { log[symbol] = wander[at]; slip[symbol] = row[size + at]; });
  const worn = [0, 1, 2].map((kind) => Math.exp(wander[2 * size + kind]));
  return { log, slip, worn, flat: row[2 * size + 3] };
}

// Over a meter's limit that lies below the level: as sure as an open contact.
function beyond(reading, symbol, levels, at, size) {
  return at < 2 * size && symbol >= 2 && symbol < levels.length + 2 && levels[symbol - 2] > reading.limit;
}

// Several readings of one place: a worn contact keeps its kind.
function withRepeats(rows, worths, shares, worn) {
  const seen = new Map();
  rows.forEach((reading, n) => {
    const before = seen.get(reading.cell) ?? shares;
    const value = before.reduce((sum, share, kind) => sum + share * worths[n].worn[kind], 0);
    worths[n].log[worn] = Math.log(value);
    seen.set(reading.cell, before.map((share, kind) => (share * worths[n].worn[kind]) / value));
  });
}

// One sheet under one variant: predicted symbols and their log likelihood.
class Sheet {
  constructor(tables, variant, rows, hands) {
    Object.assign(this, { tables, variant, rows, hands, columns: columnsOf(variant) });
  }

  column(mistake, n) { return this.columns[this.variant.at[mistake][this.rows[n].cell]]; }

  symbols(mistake, fault) { return this.rows.map((_row, n) => this.column(mistake, n)[fault]); }

  // By reading and symbol: log likelihood, the chart's doubt mixed in where a good unit is predicted.
  table(mistake, worths) {
    return this.rows.map((row, n) => {
      const [doubt, other] = this.variant.doubts[this.variant.doubt_at[mistake][row.cell]];
      const good = this.column(mistake, n)[0];
      const { log, slip } = worths[n];
      const mixed = Math.log((1 - doubt) * Math.exp(log[good]) + doubt * Math.exp(log[other]));
      return { good, mixed, log, slip, weight: 1 - 2 * doubt };
    });
  }

  under(symbols, table) {
    let total = 0, missed = 0, shown = 0, invented = 0, held = 0;
    for (let n = 0; n < table.length; n += 1) {
      const { good, mixed, log, slip, weight } = table[n];
      const symbol = symbols[n];
      total += symbol === good ? mixed : log[symbol];
      if (symbol === OPEN) { invented += weight * slip[symbol]; held += weight * (1 - slip[symbol]); }
      else if (symbol < this.tables.symbols) { missed += weight * slip[symbol]; shown += weight * (1 - slip[symbol]); }
    }
    return total + this.hands.gain(missed, shown, invented, held);
  }
}

const even = (logGood) => Math.log(-Math.expm1(logGood)); // of all faults together

function singles(sheet, at, worths) {
  const { faults, mistakes, log_share: share } = sheet.variant;
  const found = [], alone = [];
  mistakes.forEach((mistake, m) => {
    const table = sheet.table(m, worths);
    faults.forEach((fault, f) => {
      if (fault.log_prior === null || (mistake.log_prior === null && m > 0)) return;
      const symbols = sheet.symbols(m, f);
      const under = sheet.under(symbols, table);
      if (m === 0) alone[f] = under;
      if (mistake.log_prior === null) return;
      found.push({ variant: at, mistake: m, first: f, second: 0, symbols, log: under + fault.log_prior + mistake.log_prior + share });
    });
  });
  return [found, alone];
}

function pairs(sheet, at, worths, alone) {
  const { variant } = sheet;
  const likely = (f) => alone[f] !== undefined && alone[f] >= alone[0] - sheet.tables.settings.margin;
  const table = sheet.table(0, worths);
  const byCell = new Map();
  sheet.rows.forEach((row, n) => byCell.set(row.cell, [...(byCell.get(row.cell) ?? []), n]));
  const found = [];
  for (const [first, second, prior, changes] of variant.pairs) {
    if (!likely(first) || !likely(second)) continue;
    const symbols = sheet.symbols(0, first);
    for (let at = 0; at < changes.length; at += 2) for (const n of byCell.get(changes[at]) ?? []) symbols[n] = changes[at + 1];
    const log = sheet.under(symbols, table) + prior + variant.mistakes[0].log_prior + variant.log_share;
    found.push({ variant: at, mistake: 0, first, second, symbols, log });
  }
  return found;
}

// A line broken between plug and unit reads as a line open in it does.
function harness(sheet, block, share) {
  const { faults, lines } = sheet.variant;
  return block.filter((one) => faults[one.first].kind === "line_open").map((one) => ({
    ...one, harness: true, log: one.log - faults[one.first].log_prior + faults[0].log_prior + Math.log(share / lines),
  }));
}

function oneSweep(sheet, at, worths, sweeps) {
  const { faults, mistakes, log_share: share } = sheet.variant;
  const table = sheet.table(0, worths), good = sheet.symbols(0, 0), found = [];
  faults.forEach((fault, first) => {
    if (fault.kind !== "detent_shift" || fault.log_prior === null) return;
    const shifted = sheet.symbols(0, first);
    for (const sweep of sweeps) {
      const symbols = sheet.rows.map((row, n) => (row.sweep === sweep ? shifted[n] : good[n]));
      const prior = fault.log_prior + mistakes[0].log_prior + share + Math.log(sheet.tables.settings.sweep_share / sweeps.length);
      found.push({ variant: at, mistake: 0, first, second: 0, symbols, sweep, log: sheet.under(symbols, table) + prior });
    }
  });
  return found;
}

const median = (values) => {
  const sorted = [...values].sort((p, q) => p - q), half = sorted.length >> 1;
  return sorted.length % 2 ? sorted[half] : (sorted[half - 1] + sorted[half]) / 2;
};

// Ω that contacts at the common read too much, or null where none was read there.
function commonOhm(sheet, mistake, through) {
  const { levels, settings } = sheet.tables;
  const excess = [];
  let read = false;
  sheet.rows.forEach((row, n) => {
    const good = sheet.column(mistake, n)[0];
    if (!through(n)) return;
    if (row.showsContact && good !== OPEN) read = true;
    const nominal = good === 1 ? 0 : levels[good - 2];
    const more = row.figure && nominal !== undefined ? row.y - nominal : NaN;
    if (Number.isFinite(more) && more < settings.open_above) excess.push(more);
  });
  return read ? (excess.length ? median(excess) : 0) : null;
}

// Density in ln(Ω) of a level with a contact in series.
function density(common, y, level) {
  const total = level + common.contact;
  const spread = Math.hypot(common.spread, (common.contact * common.contact_spread) / total);
  const away = Math.log(y / total) / spread;
  return (0.98 * Math.exp(-0.5 * away ** 2) + (0.02 / 6) * Math.exp(-0.5 * (away / 6) ** 2)) / (spread * Math.sqrt(2 * Math.PI));
}

// A reading's worth with `ohm` in the common.
function added(readings, reading, plain, ohm, shares, worn) {
  const { common } = readings;
  const log = [...plain.log];
  log[worn] = Math.log(shares.reduce((sum, share, kind) => sum + share * plain.worn[kind], 0));
  if (ohm && !reading.wander && !reading.over) {
    common.symbols.forEach((symbol, at) => {
      if (reading.bare) { log[symbol] = curveAt(common.bare[at], Math.log(Math.max(ohm, 10))); return; }
      let value = Math.exp(curveAt(common.base[at], Math.log(reading.y)));
      common.weights[at].forEach((weight, centre) => { if (weight) value += weight * density(common, reading.y, common.centres[centre] + ohm); });
      log[symbol] = Math.log(Math.max(value, 1e-7));
    });
  }
  return { ...plain, log };
}

function resistiveCommons(sheet, at, worths, readings) {
  const { tables, variant } = sheet, set = tables.settings;
  if (tables.common === null || !sheet.rows.length) return [];
  const good = variant.faults[0].log_prior, worn = tables.symbols + 1;
  const found = [];
  for (let m = 0; m < variant.mistakes.length; m += 1) {
    const mistake = variant.mistakes[m];
    if (mistake.log_prior === null) continue;
    const through = (n) => variant.through[m][sheet.rows[n].cell] === "1";
    const ohm = commonOhm(sheet, m, through);
    if (ohm !== null && ohm < set.least_common) continue;
    if (ohm !== null && readings.common === null) throw new NeedsNetwork("common");
    const more = ohm === null ? worths
      : sheet.rows.map((row, n) => added(readings, row, worths[n], through(n) ? ohm : 0, tables.worn, worn));
    const table = sheet.table(m, more);
    variant.faults.forEach((fault, first) => {
      if (fault.log_prior === null || (m > 0 && first > 0)) return;
      const symbols = sheet.symbols(m, first);
      const other = first ? fault.log_prior - even(good) + variant.log_pair : 0;
      const log = sheet.under(symbols, table) + other + set.log_common - (ohm === null ? 0 : set.common_cost) +
        mistake.log_prior + variant.log_share;
      const shown = symbols.map((symbol, n) => (through(n) && symbol !== OPEN && symbol < tables.symbols ? tables.symbols - 1 : symbol));
      found.push({ variant: at, mistake: m, first, second: 0, common: true, ohm, symbols: shown, log });
    });
  }
  return found;
}

function otherDesigns(tables, rows, worths, away) {
  if (!rows.length) return [];
  return tables.others.map((other) => {
    const theirs = other.readings === null ? null : other.readings[away];
    const used = theirs === null ? worths : rows.map((row) => worth(theirs, row, other.levels));
    const size = theirs === null ? tables.symbols : other.symbols;
    const of = other.tables.map((table) => rows.reduce((sum, row, n) => {
      const [symbol, instead, doubt] = table[row.cell];
      const { log } = used[n];
      return sum + (symbol === size ? log[size] : Math.log((1 - doubt) * Math.exp(log[symbol]) + doubt * Math.exp(log[instead])));
    }, 0));
    return { design: other.design, log: Math.max(...of) + other.log_prior };
  });
}

// The posterior of every explanation of one sheet.
export function explain(tables, sheet) {
  const rows = laid(tables, sheet);
  if (rows === null) throw new NeedsNetwork("pair");
  const away = sheet.read_at === "bench" ? "bench" : "connector";
  const readings = tables.readings[away], worn = tables.symbols + 1;
  const worths = rows.map((row) => worth(readings, row, tables.levels));
  withRepeats(rows, worths, tables.worn, worn);
  const sweeps = [...new Set(rows.map((row) => row.sweep))].sort((p, q) => p - q);
  const hands = new Hands(tables.readers);
  const all = [];
  tables.variants.forEach((variant, at) => {
    const one = new Sheet(tables, variant, rows, hands);
    const [block, alone] = singles(one, at, worths);
    all.push(...block, ...pairs(one, at, worths, alone));
    if (sheet.read_at !== "bench") all.push(...harness(one, block, tables.settings[sheet.read_at]));
    if (sweeps.length > 1) all.push(...oneSweep(one, at, worths, sweeps));
    all.push(...resistiveCommons(one, at, worths, readings));
  });
  const flat = worths.reduce((sum, one) => sum + one.flat, 0) + tables.settings.log_unknown;
  const others = otherDesigns(tables, rows, worths, away);
  const most = Math.max(flat, ...all.map((one) => one.log), ...others.map((one) => one.log));
  const sum = [...all, ...others, { log: flat }].reduce((total, one) => total + Math.exp(one.log - most), 0);
  const total = most + Math.log(sum);
  const kept = all.map((one) => ({ ...one, p: Math.exp(one.log - total) })).filter((one) => one.p > tables.settings.negligible);
  kept.sort((one, other) => other.p - one.p);
  return {
    rows, worths, kept, unknown: Math.exp(flat - total),
    others: others.map((one) => ({ design: one.design, p: Math.exp(one.log - total) })),
  };
}
