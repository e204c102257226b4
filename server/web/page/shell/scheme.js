// Light: as the system has it, or as somebody chose. Kept in this browser.

const KEPT = "sayback light";

export function listenToScheme(select) {
  const show = (light) => {
    document.documentElement.dataset.light = light;
    select.value = light;
  };
  let kept = "system";
  try {
    kept = localStorage.getItem(KEPT) ?? "system";
  } catch {
    // Not to be kept here: as the system has it.
  }
  show(["day", "night"].includes(kept) ? kept : "system");
  select.addEventListener("change", () => {
    show(select.value);
    try {
      localStorage.setItem(KEPT, select.value);
    } catch {
      // It holds until the page is closed.
    }
  });
}
