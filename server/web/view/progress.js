// How far the work is, and what went wrong.

import { about, count } from "../words.js";
import { at, el, replace } from "./dom.js";

let lastTold = "";

export function showProgress({ status }) {
  const open = status ? status.jobs.waiting + status.jobs.running : 0;
  at("work").hidden = open === 0;
  tell(status, open);
  if (open === 0) return;
  const share = status.audio_ms_total > 0 ? status.audio_ms_done / status.audio_ms_total : 0;
  at("work-bar").value = Math.min(share, 1);
  const now = status.running[0];
  const facts = [
    status.paused ? "Paused" : null,
    `${Math.floor(Math.min(share, 1) * 100)} %`,
    status.rate === null ? null : `${status.rate.toFixed(1)} × real time`,
    status.time_left_ms === null ? null : about(status.time_left_ms),
    now ? `${now.step} ${now.file} (${now.source})` : null,
  ];
  at("work-text").textContent = facts.filter(Boolean).join(" · ");
  at("work-pause").textContent = status.paused ? "Go on" : "Pause";
}

/** Says out loud only what is worth an interruption: every tenth, and the end. */
function tell(status, open) {
  if (!status) return;
  const share = status.audio_ms_total > 0 ? status.audio_ms_done / status.audio_ms_total : 0;
  const tenth = Math.floor(share * 10) * 10;
  const text = open === 0 ? "All recordings are worked through" : `${tenth} percent worked through`;
  if (text === lastTold || (open === 0 && lastTold === "")) return;
  lastTold = text;
  at("work-news").textContent = text;
}

export function showProblems({ status, detail }, onRetry) {
  const refused = (detail?.intakes ?? []).filter((item) => item.state === "refused");
  const known = new Set((status?.problems ?? []).map((problem) => problem.file));
  const problems = [
    ...(status?.problems ?? []),
    ...refused
      .filter((item) => !known.has(item.file))
      .map((item) => ({ file: item.file, step: "open", reason: item.reason ?? "" })),
  ];
  at("problems").hidden = problems.length === 0;
  at("problems-title").textContent = count(problems.length, "problem", "problems");
  replace(
    at("problems-list"),
    problems.map((problem) =>
      el(
        "li",
        {},
        el("strong", {}, problem.file),
        ` ${problem.step}: ${problem.reason} `,
        problem.job
          ? el(
              "button",
              {
                type: "button",
                class: "quiet",
                "data-key": `retry/${problem.job}`,
                "aria-label": `Try ${problem.file} again`,
                onclick: () => onRetry(problem.job),
              },
              "try again",
            )
          : null,
      ),
    ),
  );
}
