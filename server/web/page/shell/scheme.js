// Light: as the system has it, or as somebody chose. Kept in this browser.

const KEPT = "sayback light";
const tellers = [];

/** Calls `teller()` when the light has changed: what is drawn takes its colours anew. */
export function onLight(teller) {
  tellers.push(teller);
}

export function listenToScheme(select) {
  const show = (light) => {
    document.documentElement.dataset.light = light;
    select.value = light;
    for (const teller of tellers) teller();
  };
  let kept = "system";
  try {
    kept = localStorage.getItem(KEPT) ?? "system";
  } catch {
    // Not to be kept here: as the system has it.
  }
  show(["day", "night"].includes(kept) ? kept : "system");
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => show(select.value));
  select.addEventListener("change", () => {
    show(select.value);
    try {
      localStorage.setItem(KEPT, select.value);
    } catch {
      // It holds until the page is closed.
    }
  });
}
