// Elements from data; text is never HTML.
export function make(kind, attributes = {}, ...inside) {
  const made = document.createElement(kind);
  for (const [name, value] of Object.entries(attributes)) {
    if (value !== null && value !== undefined && value !== false) made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...inside.filter((item) => item !== null && item !== undefined));
  return made;
}

export const find = (id) => document.getElementById(id);

export function list(host, items) {
  host.replaceChildren(...items.map((item) => make("li", {}, item)));
}
