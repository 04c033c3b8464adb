// Tables and lists of results.
import {make, find, list} from "./make.js";

const SHAPES = {
  circle: "M12 2a10 10 0 1 0 .01 0z", square: "M3 3h18v18H3z", triangle: "M12 1L23 22H1z",
  inverted_triangle: "M12 23L1 2h22z", diamond: "M12 0L24 12 12 24 0 12z", hex: "M6 2h12l6 10-6 10H6L0 12z",
  star: "M12 0l3 8.500h9l-7.200 5.300 2.700 8.700L12 17.200l-7.500 5.300 2.700-8.700L0 8.500h9z",
};

function cells(kind, texts) {
  return texts.map(([text, style]) => make(kind, {class: style ?? null}, text));
}

function heading(texts) {
  return make("thead", {}, make("tr", {}, ...texts.map((text) => make("th", {scope: "col"}, text))));
}

function fill(table, heads, rows) {
  const body = make("tbody", {}, ...rows.map(([name, ...rest]) =>
    make("tr", {}, make("th", {scope: "row"}, name), ...cells("td", rest))));
  table.replaceChildren(heading(heads), body);
}

export function results(found, door) {
  const tells = [found.by, found.tones_text, found.parting];
  find("tones-text").textContent = tells.filter(Boolean).join(" ");
  const full = found.scale !== 1;
  fill(find("tones"), ["Tone", "Impedance", "Excursion, peak", "Against free air", "Level",
    "Who does the work (alone, against the sum)", "In words"],
  found.tones.map((t) => [full ? `${t.hz} Hz (${t.full_hz} Hz full size)` : `${t.hz} Hz`,
    [`${t.impedance}, ${t.phase}`, "n"], [t.of_xmax ? `${t.excursion} (${t.of_xmax})` : t.excursion, t.beyond ? "over" : ""],
    [t.held, "n"], [t.level, "n"], [t.shares.map(([name, share]) => `${name} ${share}`).join(", "), "some"],
    [sentence(t.verdict), "words"]]));
  list(find("clean"), found.clean);
  find("clean-note").textContent = found.clean_note;
  find("cautions").hidden = found.cautions.length === 0;
  list(find("cautions").querySelector("ul"), found.cautions);
  for (const id of ["port-table", "room"]) find(id).classList.toggle("stale", found.brief);
  if (found.brief) return;
  room(found.room, door);
  find("port-table").hidden = found.ports.length === 0;
  fill(find("ports"), ["Port", "Effective length", "Tuning", "Rings as a pipe at", "Air speed, peak", "In words"],
    found.ports.map((p) => [p.name, [p.length, "n"], [p.tuning, "some"], [p.pipes],
      [`${p.speed} (limit ${p.limit})`, p.over ? "over" : ""], [sentence(p.verdict), "words"]]));
}

function room(found, door) {
  find("room").hidden = found === null;
  if (found === null) return;
  const heads = ["Door", "Rings near (closed form)", ...found.tones, "In words"];
  const rows = found.states.map((state, i) => {
    const button = i ? make("button", {type: "button", "aria-label": `use ${state.label}`}, "use") : null;
    button?.addEventListener("click", () => door(i));
    return make("tr", {class: i ? null : "now"},
      make("th", {scope: "row"}, state.label, " ", button ?? make("small", {}, "(as it is)")), make("td", {class: "n"}, state.rings),
      ...state.cells.map(([level, gain]) => make("td", {class: "n"}, level, make("small", {}, gain))),
      make("td", {class: "words"}, sentence(state.words)));
  });
  find("doors").replaceChildren(heading(heads), make("tbody", {}, ...rows));
  find("room-note").textContent = found.note;
}

function sentence(words) { return `${words.charAt(0).toUpperCase()}${words.slice(1)}.`; }

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

const FIRST = 8;  // features shown at once

export function features(found) {
  const rows = found.features.map((f) => {
    const more = [f.q, f.seen_by].filter(Boolean).join(", ");
    const body = make("div", {}, make("p", {}, make("strong", {}, `${f.number}. ${f.heading}`), ` ${more}`),
      make("p", {}, f.cause));
    for (const advice of f.advice) body.append(make("p", {class: "advice"}, advice));
    return make("li", {"data-feature": f.number}, mark(f), body);
  });
  const host = find("features");
  host.classList.remove("stale");
  if (!rows.length) rows.push(make("li", {}, make("span"), "No peak, dip or ripple in the band."));
  host.replaceChildren(make("ol", {class: "features"}, ...rows.slice(0, FIRST)));
  if (rows.length > FIRST) {
    host.append(make("details", {}, make("summary", {}, `${rows.length - FIRST} more`),
      make("ol", {class: "features"}, ...rows.slice(FIRST))));
  }
}

// Blue for louder, orange for quieter, as deep as the change; the words say it too.
function shade(by) {
  const [r, g, b] = by >= 0 ? [20, 80, 140] : [196, 104, 26];
  return `background: rgba(${r}, ${g}, ${b}, ${(0.32 * Math.abs(by)).toFixed(3)})`;
}

export function covering(found, use) {
  find("cover").hidden = false;
  find("cover").classList.remove("stale");
  find("cover-text").textContent = `By the ${found.fidelity} model. ${found.answer}`;
  const heads = ["Covered", ...found.tones, "Mean", "In words"];
  const rows = found.states.map((state) => {
    const button = state.can_be && !state.now ? make("button", {type: "button"}, "use") : null;
    button?.setAttribute("aria-label", `use ${state.name}`);
    button?.addEventListener("click", () => use(state.covered));
    const cells = state.cells.map((cell) => make("td", {class: cell.best ? "n best" : "n", style: shade(cell.by)},
      cell.level, make("small", {}, cell.best ? `${cell.change}, loudest` : cell.change)));
    return make("tr", {class: state.now ? "now" : null},
      make("th", {scope: "row"}, state.name, " ", state.now ? make("small", {}, "(as it is)") : button),
      ...cells, make("td", {class: state.best ? "n best" : "n"}, state.mean), make("td", {class: "words"}, state.words));
  });
  find("covering").replaceChildren(heading(heads), make("tbody", {}, ...rows));
  find("cover-notes").replaceChildren(
    ...found.cautions.map((text) => make("p", {class: "over"}, text)),
    ...found.notes.map((text) => make("p", {class: "quiet"}, sentence(text.replace(/[.]$/, "")))));
}

export function pictures(found) {
  find("drawn").replaceChildren(...found.pictures.map((picture) => make("figure", {},
    make("img", {src: picture.source, alt: picture.words}), make("figcaption", {}, picture.words))));
  if (!found.pictures.length) {
    find("drawn").replaceChildren(make("p", {}, "No chamber has a shape and no horn is drawn: give a chamber a size and the place of everything that opens into it, or an outline."));
  }
}
