// The drawing of the box: parts are picked, ends of ports are shut and opened, by pointer or keyboard.
import {make} from "./make.js";

export function sketch(host, chips, pick, shut) {
  let drawn = "", tall = null;

  function act(target, byKey) {
    const end = target.closest("[data-shut]"), part = target.closest("[data-part]");
    if (end) shut(end.dataset.shut, end.getAttribute("aria-checked") !== "true");
    else if (part) pick(part.dataset.part, byKey);
    return Boolean(end || part);
  }

  host.addEventListener("click", (event) => act(event.target, false));
  host.addEventListener("keydown", (event) => {
    if ((event.key === "Enter" || event.key === " ") && act(event.target, true)) event.preventDefault();
  });
  chips.addEventListener("click", (event) => {
    const chip = event.target.closest("button");
    if (chip) pick(chip.dataset.chip, event.detail === 0);
  });

  // What is drawn is made by airpath from the case, with every text escaped.
  function show(svg, parts, picked) {
    if (svg !== drawn) {
      const focused = document.activeElement?.closest?.("[data-part], [data-shut]");
      const {part, shut: end} = focused?.dataset ?? {};
      host.innerHTML = drawn = svg;
      frame();
      const again = end ? `[data-shut="${CSS.escape(end)}"]` : part ? `[data-part="${CSS.escape(part)}"]` : null;
      if (again && host.querySelector(again)) host.querySelector(again).focus();
    }
    label(parts);
    mark(picked);
  }

  // What is below stays where it is while the drawing changes under the hand: each is fitted into the height of the first.
  function frame() {
    const picture = host.querySelector("svg");
    if (tall === null) tall = picture.getBoundingClientRect().height;
    picture.style.height = `${tall}px`;
  }

  window.addEventListener("resize", () => {
    const picture = host.querySelector("svg");
    if (!picture) return;
    tall = null;
    picture.style.height = "";
    frame();
  });

  function label(parts) {
    const there = [...chips.querySelectorAll("button")];
    if (there.map((chip) => chip.dataset.chip).join("\n") !== parts.map((item) => item.name).join("\n")) {
      chips.replaceChildren(...parts.map((item) => make("li", {},
        make("button", {type: "button", "data-chip": item.name}, item.name))));
    }
    chips.querySelectorAll("button").forEach((chip, i) => { chip.title = parts[i].words; });
  }

  function mark(picked) {
    for (const item of host.querySelectorAll("[data-part]")) item.setAttribute("aria-pressed", item.dataset.part === picked);
    for (const item of chips.querySelectorAll("button")) item.setAttribute("aria-pressed", item.dataset.chip === picked);
  }

  return {show, mark};
}
