// What a typed reading means, as registry/formats/reading.py reads it: {kind, low, high}; null where it is refused.
const OVER = new Set(["ol", "o.l", "0l", "0.l", "inf", "infinity", "∞", "open", "over", "overload", "over limit"]);
const CONTINUITY = new Set(["cont", "continuity", "beep", "beeps", "buzz", "buzzer", "closed"]);
const UNIT = "(?:Ω|[Oo]hms?|OHMS?)";
const PLAIN = new RegExp(`^([0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)([eE][+-]?[0-9]{1,3})? ?([kKMG]|[Mm]eg|MEG|m)? ?(?:${UNIT}|[Rr])?$`);
const CODED = /^([0-9]*)([RrKkMmGL])([0-9]+)$/;
const RANGE = /^(.+?) ?(?:…|(?<!\.)\.\.\.?(?!\.)|–|—|-| to ) ?([^-–—…]+)$/;
const GROUPED = /^[1-9][0-9]{0,2},[0-9]{3}$/;
const AFTER_OVER = new RegExp(` ?[kM]?${UNIT}$`);
const FACTORS = { "": 1, L: 1e-3, R: 1, K: 1e3, M: 1e6, MEG: 1e6, G: 1e9 };
const LONGEST = 40, HIGHEST = 1e12;

const tidied = (text) => text.replace(/[\s\u00a0\u2007\u2009\u202f]+/g, " ").trim().replaceAll("\u2126", "Ω");
const signKey = (text) => text.replaceAll(" ", "").replace(/\.+$/, "").toLowerCase();
const isOver = (text) => OVER.has(text.replace(AFTER_OVER, "").toLowerCase().replace(/^[ .]+|[ .]+$/g, ""));

// One resistance in Ω; NaN where it is refused.
export function ohms(text) {
  const plain = tidied(text);
  const coded = CODED.exec(plain);
  let value = NaN;
  if (coded) {
    if (coded[2] !== "m") value = Number(`${coded[1] || "0"}.${coded[3]}`) * FACTORS[coded[2].toUpperCase()];
  } else {
    const found = PLAIN.exec(plain);
    if (!found) return NaN;
    const [, figure, power = "", prefix = ""] = found;
    if (GROUPED.test(figure) || prefix === "m" || (/^E[0-9]+$/.test(power) && /^[0-9]+$/.test(figure))) return NaN;
    value = Number(figure.replace(",", ".") + power) * FACTORS[prefix.toUpperCase()];
  }
  return value > HIGHEST ? NaN : value;
}

export function parse(text, apartShows, limit) {
  const plain = tidied(text);
  if (!plain) return { kind: "not_taken", low: null, high: null };
  if (plain.length > LONGEST) return null;
  const over = { kind: "over_limit", low: null, high: null };
  if (apartShows && signKey(plain) === signKey(tidied(apartShows))) return over;
  if (isOver(plain)) return over;
  if (CONTINUITY.has(plain.toLowerCase().replace(/\.+$/, ""))) return { kind: "continuity", low: null, high: null };
  const ends = PLAIN.test(plain) || CODED.test(plain) ? null : RANGE.exec(plain);
  if (!ends) {
    const value = ohms(plain);
    return Number.isNaN(value) ? null : { kind: "value", low: value, high: value };
  }
  if (isOver(ends[1]) && isOver(ends[2])) return over;
  const [low, high] = [ends[1], ends[2]].map((end) => (isOver(end) ? limit : ohms(end))).sort((one, other) => one - other);
  if (Number.isNaN(low) || Number.isNaN(high)) return null;
  return { kind: low === high ? "value" : "range", low, high };
}
