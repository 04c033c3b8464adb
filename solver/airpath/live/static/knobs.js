// A slider and a number field, with unit, for every dimension of the part that is picked.
import {make, find} from "./make.js";

export function knobs(host, turns) {
  let shown = new Map(), part = null, moves = {}, held = null, built = 0;

  function value(knob) { return Number(knob.value.toPrecision(5)); }

  function build(knob) {
    const id = `knob-${built += 1}`;  // a name may have blanks in it
    const slider = make("input", {type: "range", id, min: knob.low, max: knob.high, step: knob.step,
      "aria-describedby": `${id}-help`});
    const field = make("input", {type: "number", step: "any", "aria-label": `${knob.label}, number`, inputmode: "decimal"});
    const unit = make("span", {class: "unit"}, knob.unit);
    const effect = make("p", {class: "effect"}), wrong = make("p", {class: "wrong", role: "alert"});
    const row = make("div", {class: "row"}, make("label", {for: id}, knob.label),
      make("span", {}, field, unit), slider);
    const item = make("div", {class: "knob", "data-knob": knob.name}, row,
      make("p", {id: `${id}-help`}, knob.help), effect, wrong);
    const entry = {knob, item, slider, field, effect, wrong};
    slider.addEventListener("input", () => {
      held = slider;
      field.value = slider.value;
      say(entry, slider.value);
      entry.wanted = Number(slider.value);
      turns.turn(knob.name, Number(slider.value));
    });
    for (const end of ["change", "pointerup", "pointercancel", "keyup", "blur"]) {  // "change" is not said at the old value
      slider.addEventListener(end, () => {
        if (held !== slider) return;
        held = null;
        turns.letGo();
      });
    }
    field.addEventListener("input", () => { entry.typing = true; });
    field.addEventListener("change", () => {
      entry.typing = false;
      if (field.value === "" || !Number.isFinite(Number(field.value))) { field.value = value(entry.knob); return; }
      turns.turn(knob.name, Number(field.value));
      turns.letGo();
    });
    return entry;
  }

  function say(entry, number) {
    entry.slider.setAttribute("aria-valuetext", `${number} ${entry.knob.unit}`.trim());
  }

  // An answer to an earlier turn doesn't take back what the hand has set since; a field with the cursor in it is
  // left alone while somebody types, and when nothing new is to be said.
  function put(entry, knob) {
    const moved = entry.knob.value !== knob.value;
    entry.knob = knob;
    const number = value(knob);
    if (entry.wanted !== undefined && entry.wanted !== number && turns.busy()) return;
    entry.wanted = undefined;
    if (entry.slider !== held) {
      Object.assign(entry.slider, {min: knob.low, max: knob.high, step: knob.step});
      entry.slider.value = number;
    }
    if (document.activeElement !== entry.field || (moved && !entry.typing)) entry.field.value = number;
    say(entry, number);
  }

  function tell() {
    for (const [name, entry] of shown) entry.effect.textContent = moves[name] ?? "";
  }

  // Show the knobs of a part: the dimensions at once, places and the rest behind a line.
  function show(all, picked) {
    const own = all.filter((knob) => knob.part === picked.name);
    const same = part === picked.name && own.length === shown.size && own.every((knob) => shown.has(knob.name));
    if (same) {
      for (const knob of own) put(shown.get(knob.name), knob);
      return;
    }
    part = picked.name;
    shown = new Map(own.map((knob) => [knob.name, build(knob)]));
    const places = own.filter((knob) => knob.kind === "place");
    const first = own.filter((knob) => knob.kind !== "place");
    host.replaceChildren(...first.map((knob) => shown.get(knob.name).item));
    if (places.length) {
      host.append(make("details", {class: "rest"}, make("summary", {}, `Where it sits (${places.length} values)`),
        ...places.map((knob) => shown.get(knob.name).item)));
    }
    if (!own.length) host.append(make("p", {class: "quiet"}, "Nothing of this part can be turned."));
    for (const knob of own) put(shown.get(knob.name), knob);
    tell();
  }

  function refused(name, text) {
    const entry = shown.get(name);
    if (!entry) return false;
    entry.wrong.textContent = text;
    entry.field.setAttribute("aria-invalid", "true");
    return true;
  }

  function fine() {
    for (const entry of shown.values()) {
      entry.wrong.textContent = "";
      entry.field.removeAttribute("aria-invalid");
    }
  }

  return {show, refused, fine, effects: (found) => { moves = found; tell(); },
    focus: () => (host.querySelector("input[type=range]") ?? find("turn")).focus()};
}
