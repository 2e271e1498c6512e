// The small grid that fills up: drawn contacts, the place being read in accent; choosing one goes there.
import { read } from "./reading.js";

const SVG = "http://www.w3.org/2000/svg";

function drawn(state) {
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("class", "contact");
  svg.setAttribute("aria-hidden", "true");
  const use = document.createElementNS(SVG, "use");
  use.setAttribute("href", `#contact-${state}`);
  svg.append(use);
  return svg;
}

function cell(tag, text) {
  const made = document.createElement(tag);
  made.textContent = text;
  return made;
}

export class SmallGrid {
  constructor(holder, steps, words, choose) {
    this.steps = steps;
    this.words = words;
    this.buttons = new Map();
    const pairs = [...new Map(steps.map((s) => [`${s.pin}/${s.against}`, s])).values()];
    const rows = [...new Map(steps.map((s) => [`${s.sweep}/${s.step}/${s.between}`, s])).values()];
    const table = document.createElement("table");
    const head = table.createTHead().insertRow();
    head.append(cell("td", ""), ...pairs.map((s) => cell("th", s.common ? s.pin : `${s.pin}–${s.against}`)));
    const body = table.createTBody();
    for (const row of rows) {
      const line = body.insertRow();
      line.append(cell("th", row.between ? "↓" : row.position));
      for (const pair of pairs) {
        const at = steps.findIndex(
          (s) => s.pin === pair.pin && s.against === pair.against && s.sweep === row.sweep &&
            s.step === row.step && s.between === row.between,
        );
        const button = document.createElement("button");
        button.type = "button";
        button.tabIndex = -1; // arrows move through the grid; Tab goes past it to the keys
        button.addEventListener("click", () => choose(at));
        this.buttons.set(at, button);
        line.insertCell().append(button);
      }
    }
    holder.replaceChildren(table);
  }

  show(at, text, name, apartShows) {
    const button = this.buttons.get(at);
    const state = read(text, apartShows).state;
    const drawable = ["open", "closed", "resistive"].includes(state);
    const bare = /^(ol|cont|open|closed)$/i.test(text.trim());
    button.replaceChildren(...(drawable && bare ? [drawn(state)] : [document.createTextNode(text || "·")]));
    button.classList.toggle("taken", Boolean(text));
    const word = state === "range" ? this.words.range : this.words[state] || this.words.not_taken;
    button.setAttribute("aria-label", `${name}: ${text ? `${text}, ${word}` : word}`);
  }

  mark(at) {
    for (const [each, button] of this.buttons) {
      if (each === at) button.setAttribute("aria-current", "step");
      else button.removeAttribute("aria-current");
    }
    this.buttons.get(at)?.scrollIntoView({ block: "nearest", inline: "nearest" });
  }
}
