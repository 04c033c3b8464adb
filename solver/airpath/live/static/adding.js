// Files dropped on the page or chosen: a measured sweep, or an outline whose place is asked for.
import {make, find} from "./make.js";

const LARGEST = 4_000_000;  // bytes

export function adding(send, complain) {
  async function take(file) {
    if (file.size > LARGEST) { complain(`${file.name} is larger than ${LARGEST / 1e6} MB.`); return; }
    const address = new URL(`drop?name=${encodeURIComponent(file.name)}`, location.href);
    try {
      const answer = await fetch(address, {method: "POST", body: file});
      if (!answer.ok) complain(await answer.text());
    } catch {
      complain(`${file.name} could not be handed over: airpath does not answer.`);
    }
  }

  document.addEventListener("dragover", (event) => {
    if (![...event.dataTransfer.types].includes("Files")) return;
    event.preventDefault();
    document.body.classList.add("dropping");
  });
  document.addEventListener("dragleave", (event) => {
    if (event.relatedTarget === null) document.body.classList.remove("dropping");
  });
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    document.body.classList.remove("dropping");
    for (const file of event.dataTransfer.files) take(file);
  });
  find("file-choice").addEventListener("change", (event) => {
    for (const file of event.target.files) take(file);
    event.target.value = "";
  });

  const form = find("outline");
  let asked = null;
  function ask(message) {
    asked = message.name;
    find("outline-name").textContent = asked;
    find("outline-part").replaceChildren(...message.parts.map((part) => make("option", {}, part)));
    form.hidden = false;
    find("outline-part").focus();
  }
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    form.hidden = true;
    send({do: "outline", name: asked, part: find("outline-part").value, unit: find("outline-unit").value,
      depth: find("outline-depth").value.trim() || null});
  });
  find("outline-no").addEventListener("click", () => { form.hidden = true; });

  return {ask};
}
