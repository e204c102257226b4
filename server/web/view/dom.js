// Makes elements. Text goes in as text: nothing here reads HTML.

export const at = (id) => document.getElementById(id);

/** An element with attributes and children; a string child is text. */
export function el(name, attributes = {}, ...children) {
  const node = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
    else node.setAttribute(key, value === true ? "" : value);
  }
  node.append(...children.filter((child) => child !== null && child !== undefined));
  return node;
}

/** Puts new children in place and keeps the focus where it was, by `data-key`. */
export function replace(parent, children) {
  const focused = document.activeElement;
  const key = parent.contains(focused) ? focused.dataset.key : null;
  parent.replaceChildren(...children);
  if (key) parent.querySelector(`[data-key="${CSS.escape(key)}"]`)?.focus();
}
