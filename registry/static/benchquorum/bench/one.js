// One reading at a time: the place in huge letters, the field, the keys.  The form's own fields hold the truth.
import { SmallGrid } from "./grid.js";
import { read } from "./reading.js";
import { say, tick } from "./speech.js";

const ALLOWED = /^[0-9.,kKmMrRgGΩeE…+\- ]$/;

export class OneAtATime {
  // changed(): something was taken; finished(): the last reading is in; left(): back to the whole sheet
  constructor(form, data, { changed, finished, left }) {
    this.form = form;
    this.steps = data.steps;
    this.words = data.words;
    this.called = { changed, finished, left };
    this.at = 0;
    this.single = false;
    this.box = document.getElementById("one");
    this.entry = document.getElementById("entry");
    this.grid = new SmallGrid(document.getElementById("small-grid"), this.steps, this.words, (at) => this.go(at));
    this.box.addEventListener("click", (event) => this.pressed(event.target.closest("button")));
    document.addEventListener("keydown", (event) => this.key(event));
    this.steps.forEach((_, at) => this.show(at));
  }

  field(at) {
    return this.form.elements[this.steps[at].name];
  }

  show(at) {
    this.grid.show(at, this.field(at).value, this.words_of(at), this.apart());
  }

  showAll() {
    this.steps.forEach((_, at) => this.show(at));
  }

  apart() {
    return this.form.elements.apart_shows?.value ?? "";
  }

  taken() {
    return this.steps.filter((_, at) => this.field(at).value.trim()).length;
  }

  open(at, single = false) {
    this.single = single;
    this.box.hidden = false;
    document.body.classList.add("reading");
    document.querySelector("header.head").inert = true;
    document.querySelector("footer.foot").inert = true;
    this.form.inert = true;
    document.getElementById("around").inert = true;
    this.go(Math.min(Math.max(at, 0), this.steps.length - 1));
  }

  close() {
    this.box.hidden = true;
    document.body.classList.remove("reading");
    for (const part of document.querySelectorAll("[inert]")) part.inert = false;
  }

  words_of(at) {
    const step = this.steps[at];
    const fill = (text) => text.replace("{pin}", step.pin).replace("{against}", step.against)
      .replace("{position}", step.spoken);
    let ask = fill(step.common ? this.words.ask : this.words.ask_pair);
    if (step.between) ask = this.words.ask_between.replace("{ask}", ask);
    if (step.sweep % 2 === 0) ask = this.words.ask_back.replace("{ask}", ask);
    return ask;
  }

  go(at) {
    const before = this.steps[this.at];
    this.at = at;
    const step = this.steps[at];
    const moved = at > 0 && (before.pin !== step.pin || before.against !== step.against);
    document.getElementById("ask").textContent = this.words_of(at);
    const other = (step.common ? this.words.other_lead : this.words.other_lead_pair).replace("{against}", step.against);
    document.getElementById("hint").textContent = moved ? this.words.next_pin.replace("{pin}", step.pin) : other;
    document.getElementById("progress").textContent = this.words.progress
      .replace("{n}", at + 1).replace("{all}", this.steps.length);
    this.entry.value = /^(ol|cont)$/i.test(this.field(at).value) ? "" : this.field(at).value;
    this.wrong("");
    for (const pin of document.querySelectorAll("#face [data-pin]")) {
      pin.classList.toggle("now", pin.dataset.pin === step.pin || (!step.common && pin.dataset.pin === step.against));
    }
    this.grid.mark(at);
    this.entry.focus({ preventScroll: true });
    if (document.getElementById("speak")?.checked) say(this.words_of(at));
  }

  take(text) {
    const typed = text.trim();
    const { wrong } = read(typed, this.apart());
    if (wrong) return this.wrong(this.words[wrong].replace("{text}", typed));
    this.field(this.at).value = typed;
    this.show(this.at);
    tick();
    this.called.changed(this.at);
    if (this.single || this.at === this.steps.length - 1) return this.called.finished();
    this.go(this.at + 1);
  }

  wrong(sentence) {
    const line = document.getElementById("entry-wrong");
    line.textContent = sentence;
    line.hidden = !sentence;
    this.entry.toggleAttribute("aria-invalid", Boolean(sentence));
  }

  back() {
    if (this.at > 0) this.go(this.at - 1);
  }

  pressed(button) {
    if (!button) return;
    if (button.id === "leave") return this.called.left();
    if ("take" in button.dataset) return this.take(button.dataset.take === "open" ? "OL" : button.dataset.take);
    if ("sign" in button.dataset) this.entry.value += button.dataset.sign;
    if (button.dataset.do === "rub") this.entry.value = this.entry.value.slice(0, -1);
    if (button.dataset.do === "take") this.take(this.entry.value || this.field(this.at).value);
    if (button.dataset.do === "back") this.back();
    this.wrong("");
  }

  // Arrows, Enter, o, c, x (not taken), Escape; figures go into the field
  key(event) {
    if (this.box.hidden || event.ctrlKey || event.metaKey || event.altKey) return;
    const onKey = event.target.closest?.("#one button");
    const empty = this.entry.value === "";
    const acts = {
      ArrowDown: () => this.move(1), ArrowUp: () => this.move(-1),
      ArrowRight: () => this.movePin(1), ArrowLeft: () => this.movePin(-1),
      Escape: () => this.called.left(),
    };
    if (!onKey) acts.Enter = () => this.take(this.entry.value || this.field(this.at).value);
    if (empty) {
      Object.assign(acts, {
        o: () => this.take("OL"), O: () => this.take("OL"), c: () => this.take("cont"), C: () => this.take("cont"),
        x: () => this.take(""), Backspace: () => this.back(),
      });
    }
    if (["ArrowLeft", "ArrowRight"].includes(event.key) && !empty) return;
    if (acts[event.key]) {
      event.preventDefault();
      return acts[event.key]();
    }
    // the rest of a written-out “OL”, “open” or “cont” after its first letter has been taken
    if (event.key.length === 1 && !ALLOWED.test(event.key) && !onKey) event.preventDefault();
  }

  move(by) {
    const at = this.at + by;
    if (at >= 0 && at < this.steps.length) this.go(at);
  }

  movePin(by) {
    const here = this.steps[this.at];
    const pairs = [...new Set(this.steps.map((s) => `${s.pin}/${s.against}`))];
    const pair = pairs[pairs.indexOf(`${here.pin}/${here.against}`) + by];
    const at = this.steps.findIndex(
      (s) => `${s.pin}/${s.against}` === pair && s.step === here.step && s.sweep === here.sweep && s.between === here.between,
    );
    if (at >= 0) this.go(at);
  }
}
