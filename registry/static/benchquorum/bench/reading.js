// What a typed reading means, well enough to draw it; the server reads it again and has the last word.
const OPEN = new Set(["ol", "o.l", "0l", "0.l", "inf", "∞", "open"]);
const CLOSED = new Set(["cont", "beep", "closed"]);
const FIGURE = /^(\d+(?:[.,]\d*)?|[.,]\d+)(?:e[+-]?\d{1,3})? ?([kKMG]?) ?(?:Ω|ohms?|R)?$/i;
const CODED = /^(\d*)([RrKkMG])(\d+)$/;
const FACTOR = { "": 1, R: 1, K: 1e3, M: 1e6, G: 1e9 };

function ohms(text) {
  const coded = CODED.exec(text);
  if (coded) return Number(`${coded[1] || 0}.${coded[3]}`) * FACTOR[coded[2].toUpperCase()];
  const plain = FIGURE.exec(text);
  if (!plain || plain[2] === "m") return NaN;
  return parseFloat(plain[1].replace(",", ".")) * FACTOR[plain[2].toUpperCase()];
}

// {state: "open" | "closed" | "resistive" | "range" | "", wrong: "" | "refused" | "ambiguous"}
export function read(text, apartShows) {
  const typed = text.trim();
  const key = typed.toLowerCase().replace(/ /g, "");
  if (!key) return { state: "", wrong: "" };
  const sign = (apartShows || "").toLowerCase().replace(/ /g, "");
  if (OPEN.has(key) || (sign && key === sign)) return { state: "open", wrong: "" };
  if (CLOSED.has(key)) return { state: "closed", wrong: "" };
  if (/^[1-9]\d{0,2},\d{3}$/.test(key)) return { state: "", wrong: "ambiguous" };
  const ends = typed.split(/…|\.\.\.?|–/);
  if (ends.length === 2) {
    const fine = ends.every((end) => OPEN.has(end.trim().toLowerCase()) || ohms(end.trim()) >= 0);
    return fine ? { state: "range", wrong: "" } : { state: "", wrong: "refused" };
  }
  const value = ohms(typed);
  if (!(value >= 0)) return { state: "", wrong: "refused" };
  return { state: value < 20 ? "closed" : value > 1e5 ? "open" : "resistive", wrong: "" };
}
