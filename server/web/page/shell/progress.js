// How far the work is.

import { about } from "../written.js";
import { at } from "../dom.js";

let lastTold = "";

export function showProgress({ status }) {
  const open = status ? status.jobs.waiting + status.jobs.running : 0;
  at("work").hidden = open === 0;
  tell(status, open);
  if (open === 0) return;
  const share = status.audio_ms_total > 0 ? status.audio_ms_done / status.audio_ms_total : 0;
  at("work-bar").value = Math.min(share, 1);
  const now = status.running[0];
  const stopped = status.problems.filter(concernsAll).map((problem) => problem.reason);
  const facts = [
    ...stopped,
    status.paused ? "Paused" : null,
    // A file that is not opened yet has no known length: work that goes on is not 100 %.
    `${Math.min(Math.floor(share * 100), 99)} %`,
    status.rate === null ? null : `${status.rate.toFixed(1)} × real time`,
    status.time_left_ms === null ? null : about(status.time_left_ms),
    now ? `${now.step} ${now.file} (${now.source})` : null,
  ];
  at("work-text").textContent = facts.filter(Boolean).join(" · ");
  at("work-text").classList.toggle("trouble", stopped.length > 0);
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

/** Whether it is no file's fault but keeps all work waiting: no model, a full disk. */
const concernsAll = (problem) => problem.file === "" && problem.step === "";
