// Puts the page together: what comes from airpath is shown, what is done on the page goes to airpath.
import {link} from "./link.js";
import {make, find, list} from "./make.js";
import {turning} from "./turning.js";
import {knobs} from "./knobs.js";
import {sketch} from "./sketch.js";
import {plots} from "./plots.js";
import {covering, features, pictures, results} from "./tables.js";
import {adding} from "./adding.js";

let state = null, picked = null, wasLost = false;
const putAway = {};  // notes that are not shown again, by their place

const send = link(hear, lost);
const turns = turning(send);
const ask = (wish) => { turns.flush(); send(wish); };  // it comes after every turn that the hand made before it
const dials = knobs(find("knobs"), turns);
const curves = plots(document);
const files = adding(ask, (text) => notice("said", text, "bad"));
const box = sketch(find("sketch"), find("parts"), pick, (port, shut) => ask({do: "shut", port, shut}));

const HEARD = {
  starts: showStarts, state: showState, charts: showCurves, curves: showCurves,
  results: (message) => { results(message, (door) => ask({do: "door", state: door})); showFidelity(message); },
  covering: (message) => covering(message, (ports) => ask({do: "cover", ports})),
  pictures, outline: (message) => files.ask(message),
  features: (message) => { features(message); dials.effects(message.turns); },
  busy: (message) => {
    find("busy").textContent = message.text;
    if (!message.text) document.body.dataset.state = "done";
  },
  said: showSaid, reload: () => location.reload(),
};

function hear(message) { HEARD[message.what]?.(message); }

function showStarts(message) {
  find("starts").hidden = false;
  find("work").hidden = true;
  find("title").textContent = "A new box";
  find("file").textContent = `It will be written into ${message.folder}, when you ask for it.`;
  find("kinds").replaceChildren(...message.starts.map((start) => {
    const button = make("button", {type: "button", "data-start": start.box}, make("strong", {}, start.title), start.words);
    if (start.drawing) {
      const picture = make("span");
      picture.innerHTML = start.drawing;
      button.prepend(picture);
    }
    button.addEventListener("click", () => ask({do: "start", box: start.box}));
    return button;
  }));
}

function showState(message) {
  state = message;
  find("starts").hidden = true;
  find("work").hidden = false;
  document.title = `${state.unwritten ? "• " : ""}${state.title}`;
  find("title").textContent = state.title;
  const fresh = state.fate === "new";
  find("file").textContent = fresh ? "Not written to a file yet" : state.file + (state.unwritten ? ", with changes that it does not hold yet" : "");
  if (!state.parts.some((part) => part.name === picked)) picked = firstPart();
  box.show(state.drawing, state.parts, picked);
  const part = state.parts.find((item) => item.name === picked);
  find("turn-title").textContent = `Dimensions of ${part.words}`;
  dials.show(state.knobs, part);
  find("shutting").textContent = state.shutting;
  find("undo").disabled = !state.undo;
  find("redo").disabled = !state.redo;
  find("save").disabled = !state.unwritten;
  find("report").disabled = false;
  find("unwritten").hidden = !state.unwritten;
  find("naming").hidden = !fresh;
  if (fresh && !find("name").value) find("name").value = state.file;
  list(find("differences"), state.differences.map((d) => `${d.place}: ${d.was} → ${d.now}`));
  notice("trouble", state.trouble, state.fate === "same" ? "" : "bad");
}

function firstPart() {
  return (state.parts.find((part) => part.kind === "port") ?? state.parts.find((part) => part.kind === "chamber") ?? state.parts[0]).name;
}

async function showCurves(message) {
  if (message.content) find("speed").hidden = !message.content.charts.some((chart) => chart.picture === "air-speed");
  if (!message.studied) {
    find("features").classList.add("stale");
    find("cover").classList.add("stale");
    find("drawn").replaceChildren();
    document.body.dataset.state = message.moving ? "moving" : "solving";
  }
  await curves.show(message);
  if (message.serial && turns.answered(message.serial, true)) dials.fine();
}

function showFidelity(message) {
  const best = message.fidelity;
  find("shown").classList.toggle("moving", message.moving);
  find("fidelity").textContent = message.moving
    ? "Shown while you turn: the line model. Let go, and everything else follows."
    : `Shown: the ${best} model in tables and for single openings; each curve of the whole says its own.`;
}

function showSaid(message) {
  const turn = message.serial ? turns.answered(message.serial, false) : null;
  if (turn && dials.refused(turn.name, message.text)) return;
  notice("said", message.text, message.kind === "done" ? "good" : "bad");
  if (message.link) find("said").firstChild.append(" ", make("a", {href: message.link, target: "_blank", rel: "noopener"}, "Open it"));
}

function notice(id, text, kind) {
  const host = find(id);
  host.className = `notice ${kind}`;
  host.hidden = !text || text === putAway[id];
  if (!text) delete putAway[id];
  if (host.dataset.text === text) return;
  host.dataset.text = text;
  const away = make("button", {type: "button", "aria-label": "Put this note away"}, "Put away");
  away.addEventListener("click", () => {
    host.hidden = true;
    if (id === "trouble") putAway[id] = text;  // it is told again with every state of the case
    find("turn").focus({preventScroll: true});
  });
  host.replaceChildren(make("span", {}, text), away);
}

function pick(name, byKey) {
  picked = name;
  showState(state);
  if (byKey) dials.focus();
}

function lost(gone) {
  if (gone) turns.forget();
  if (gone === wasLost) return;
  wasLost = gone;
  const host = find("lost");
  host.hidden = !gone;
  if (!gone) return;
  host.replaceChildren(make("p", {}, "airpath does not answer any more: it was stopped, or the machine slept. Your file is as you last wrote it. Start airpath open again; this page comes back by itself if it only slept."));
  if (state?.unwritten) {
    const copy = make("a", {download: `copy of ${state.file}`, href: URL.createObjectURL(new Blob([state.text], {type: "text/plain"}))},
      "Keep a copy of the case with the changes that are not written");
    host.append(copy);
  }
}

find("undo").addEventListener("click", () => ask({do: "undo"}));
find("redo").addEventListener("click", () => ask({do: "redo"}));
find("save").addEventListener("click", () => ask({do: "save", name: state.fate === "new" ? find("name").value : null}));
find("report").addEventListener("click", () => ask({do: "report"}));
find("pictures").addEventListener("click", () => ask({do: "pictures"}));
document.addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.target.matches("input[type=number], input[type=text]")) return;
  if (event.key.toLowerCase() !== "z") return;
  event.preventDefault();
  ask({do: event.shiftKey ? "redo" : "undo"});
});
