// Elements from plain data: h("button", { class: "button", onclick: work }, "Done").
let made = 0;

export function h(tag, properties = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name === "value") element.value = value;
    else element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false && child !== ""));
  return element;
}

// A drawing made by the server: SVG text of ours, read as SVG and never as a page.
export function drawing(svg) {
  const read = new DOMParser().parseFromString(svg, "image/svg+xml");
  return document.importNode(read.documentElement, true);
}

// The mark and the words of a hold, as everywhere: a filled octagon, then what it means.
export const holdMark = (words) => h("span", { class: "severity", "data-severity": "hold now" },
  drawing('<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 16 16" aria-hidden="true"><path d="M5 .5h6L15.5 5v6L11 15.5H5L.5 11V5z" fill="currentColor"/></svg>'), words);

export const newId = (name) => `${name}-${(made += 1)}`;

// A label with its field. `control` gets an id; `help` may be an element.
export function field(label, control, help = null) {
  control.id ||= newId("field");
  if (help) {
    help.id ||= newId("help");
    control.setAttribute("aria-describedby", help.id);
  }
  return h("div", { class: "field" }, h("label", { for: control.id }, label), control, help);
}

export function choice(options, value, onchange, empty = null) {
  const rows = empty === null ? options : [["", empty], ...options];
  const select = h("select", { onchange: (event) => onchange(event.target.value) },
    rows.map(([code, words]) => h("option", { value: code, selected: String(code) === String(value) }, words)));
  return select;
}

const radio = (name, value, onchange, code) => h("input", { type: "radio", name, value: code, checked: code === value, onchange: () => onchange(code) });

export function radios(legend, name, options, value, onchange) {
  return h("div", { class: "field" }, h("fieldset", {}, h("legend", {}, legend),
    options.map(([code, words]) => h("label", {}, radio(name, value, onchange, code), words))));
}

// The same in a row, for a few short words.
export const radioRow = (label, name, options, value, onchange) => h("div", { class: "states", role: "radiogroup", "aria-label": label },
  options.map(([code, words]) => h("label", {}, radio(name, value, onchange, code), h("span", {}, words))));

export const button = (words, onclick, look = "") =>
  h("button", { type: "button", class: `button ${look}`.trim(), onclick }, words);

// A photo is taken or chosen; each goes to `take` as it is.
export function photoField(label, take) {
  const input = h("input", {
    type: "file", accept: "image/*",
    onchange: async () => {
      const files = [...input.files];
      input.disabled = true;
      try { for (const file of files) await take(file); } finally { input.value = ""; input.disabled = false; }
    },
  });
  return field(label, input);
}
