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
  if (key) focusOn(parent, key);
}

const shown = new WeakMap(); // parent -> its children by what they show

/**
 * Shows a child for each item. A child whose item is as it was is left alone,
 * not even moved, so that a click on it is never lost.
 */
export function update(parent, items, make) {
  const before = shown.get(parent) ?? new Map();
  const children = new Map();
  for (const item of items) {
    let key = JSON.stringify(item);
    while (children.has(key)) key += " ";
    children.set(key, before.get(key) ?? make(item));
  }
  shown.set(parent, children);
  const focused = document.activeElement;
  const focusKey = parent.contains(focused) ? focused.dataset.key : null;
  const wanted = new Set(children.values());
  for (const node of [...parent.childNodes]) {
    if (!wanted.has(node)) node.remove();
  }
  let place = parent.firstChild;
  for (const node of wanted) {
    if (node === place) place = place.nextSibling;
    else parent.insertBefore(node, place);
  }
  if (focusKey && !parent.contains(document.activeElement)) focusOn(parent, focusKey);
}

function focusOn(parent, key) {
  parent.querySelector(`[data-key="${CSS.escape(key)}"]`)?.focus();
}
