// The written texts of the event: which there are, and what to do with each.

import { count } from "../written.js";
import { at, el, update } from "../dom.js";

export function showScripts({ scripts, scriptId, scriptNews }, texts) {
  const items = (scripts ?? []).map((script) => ({ ...script, chosen: script.id === scriptId }));
  update(at("scripts-list"), items, (script) => row(script, texts));
  const news = at("scripts-news");
  news.textContent = scriptNews?.text ?? "";
  news.classList.toggle("trouble", scriptNews?.trouble ?? false);
  const wrong = scriptNews?.trouble ? scriptNews.field : null;
  at("script-name").setAttribute("aria-invalid", String(wrong === "title"));
  at("script-words").setAttribute("aria-invalid", String(wrong === "text"));
}

function row(script, texts) {
  const { id, title, part, words, chosen } = script;
  const facts = [count(words, "word", "words"), part ? `part ${part}` : null].filter(Boolean);
  return el(
    "li",
    { class: chosen ? "chosen" : null },
    el(
      "button",
      {
        type: "button",
        class: "quiet name",
        "data-key": `script/${id}`,
        "aria-pressed": String(chosen),
        onclick: () => texts.choose(id),
      },
      title,
    ),
    el("span", { class: "placement" }, facts.join(" · ")),
    remover(script, texts),
  );
}

/** Removes by a second press; the first only asks, and looking away takes it back. */
function remover(script, texts) {
  let asked = false;
  const show = (now) => {
    asked = now;
    button.textContent = now ? "press again to remove" : "remove";
    button.setAttribute("aria-label", `${now ? "Press again to remove" : "Remove"} ${script.title}`);
    button.classList.toggle("sure", now);
  };
  const button = el("button", {
    type: "button",
    class: "quiet",
    "data-key": `remove/${script.id}`,
    onclick: (event) => {
      // The second half of a double click is no second thought.
      if (event.detail > 1) return;
      if (asked) texts.remove(script);
      else {
        // Not every browser gives a pressed button the focus, which it is to lose.
        button.focus();
        show(true);
      }
    },
    onblur: () => show(false),
    onkeydown: (event) => event.key === "Escape" && show(false),
  });
  show(false);
  return button;
}
