// Tables and lists of results.
import {make, find, list} from "./make.js";

const SHAPES = {
  circle: "M12 2a10 10 0 1 0 .01 0z", square: "M3 3h18v18H3z", triangle: "M12 1L23 22H1z",
  inverted_triangle: "M12 23L1 2h22z", diamond: "M12 0L24 12 12 24 0 12z", hex: "M6 2h12l6 10-6 10H6L0 12z",
};

function cells(kind, texts) {
  return texts.map(([text, style]) => make(kind, {class: style ?? null}, text));
}

function fill(table, heads, rows) {
  const head = make("thead", {}, make("tr", {}, ...heads.map((text) => make("th", {scope: "col"}, text))));
  const body = make("tbody", {}, ...rows.map(([name, ...rest]) =>
    make("tr", {}, make("th", {scope: "row"}, name), ...cells("td", rest))));
  table.replaceChildren(head, body);
}

export function results(found) {
  find("tones-text").textContent = [`By the ${found.fidelity} model.`, found.tones_text, found.parting].join(" ").trim();
  fill(find("tones"), ["Tone", "Impedance", "Excursion, peak", "Against free air", "Level",
    "Who does the work (alone, against the sum)", "In words"],
  found.tones.map((t) => [t.tone, [t.impedance, "n"], [t.excursion, t.beyond ? "n over" : "n"], [t.held, "n"],
    [t.level, "n"], [t.work.join(", ")], [t.words, "words"]]));
  find("speed").hidden = false;
  const table = find("ports");
  table.hidden = found.ports.length === 0;
  fill(table, ["Port", "Effective length", "Tuning", "Air speed, peak", "In words"],
    found.ports.map((p) => [p.name, [p.length, "n"], [p.tuning],
      [`${p.speed} (limit ${p.limit})`, p.over ? "n over" : "n"], [p.words]]));
  find("cautions").hidden = found.cautions.length === 0;
  list(find("cautions").querySelector("ul"), found.cautions);
}

function mark(feature) {
  const space = "http://www.w3.org/2000/svg";
  const add = (kind, attributes, text) => {
    const made = document.createElementNS(space, kind);
    for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
    if (text) made.textContent = text;
    return made;
  };
  const picture = add("svg", {viewBox: "-2 -2 28 28", class: "mark", "aria-hidden": "true"});
  picture.append(add("path", {d: SHAPES[feature.marker], fill: "#fff", stroke: feature.colour, "stroke-width": 2.5}),
    add("text", {x: 12, y: 16.5, "text-anchor": "middle", "font-size": 11, "font-weight": "bold"}, feature.number));
  return picture;
}

export function features(found) {
  const host = find("features");
  host.classList.remove("stale");
  host.replaceChildren(...found.features.map((f) => {
    const size = [`${f.hertz}, ${f.impedance}`, f.q === null ? null : `Q ${f.q}`, f.seen_by].filter(Boolean).join(", ");
    const body = make("div", {}, make("p", {}, make("strong", {}, `${f.number}. ${f.kind} at ${size}`)),
      make("p", {}, f.cause));
    for (const advice of f.advice) body.append(make("p", {class: "quiet"}, advice));
    return make("li", {"data-feature": f.number}, mark(f), body);
  }));
  if (!found.features.length) host.replaceChildren(make("li", {}, "No peak, dip or ripple in the band."));
}
