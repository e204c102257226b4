// Every time a written text was read: sentence by sentence what was written beside what
// was said. What became of a word is told in words, not by colour.

import { count, position } from "../written.js";
import { at, el, update } from "../dom.js";

export function showPasses({ scripts, scriptId, passes }, acts) {
  const script = scripts?.find(({ id }) => id === scriptId);
  at("script").hidden = !script;
  at("script-title").textContent = script?.title ?? "";
  at("script-told").textContent = script ? told(passes) : "";
  const items = (script && passes?.passes) || [];
  update(
    at("passes"),
    items.map((pass) => ({
      pass,
      script: { id: scriptId, part: script.part },
      written: passes.sentences,
      // Of one pass it says nothing.
      most: items.length > 1 && pass.pass === passes.most_complete,
    })),
    (item) => section(item, acts),
  );
}

function told(passes) {
  if (passes === null) return "Looking through what was said…";
  const { passes: found, moments_unwritten, most_complete, sentences } = passes;
  const open =
    moments_unwritten > 0
      ? ` ${count(moments_unwritten, "stretch", "stretches")} of speech not written down yet.`
      : "";
  if (found.length === 0) return `Not found in what was said.${open}`;
  const times = `${count(sentences.length, "sentence", "sentences")}, read ${count(found.length, "time", "times")}.`;
  const most = found.length > 1 ? ` Pass ${most_complete} is the most complete.` : "";
  return times + most + open;
}

function section({ pass, script, written, most }, acts) {
  const { person, start_ms } = pass;
  const who = person?.name ?? "unknown speaker";
  const place = start_ms === null ? "not on the event clock" : `at ${position(start_ms)} of the event`;
  const title = `pass-${pass.pass}`;
  return el(
    "section",
    { class: "pass", "aria-labelledby": title },
    el(
      "h3",
      { id: title },
      `Pass ${pass.pass}: ${who}, ${place}`,
      most ? el("span", { class: "tag" }, "most complete") : null,
    ),
    el("p", { class: "about" }, facts(pass, written)),
    el(
      "ol",
      { class: "moments", "aria-label": `Sentences of pass ${pass.pass}` },
      ...pass.sentences.flatMap((sentence) => lines(sentence, pass, script, written, acts)),
    ),
    after(pass, script, acts),
  );
}

function facts({ completeness, agreement, left_out, best }, written) {
  const percent = (share) => `${Math.round(share * 100)} %`;
  const out = left_out.length;
  return [
    `${percent(completeness)} of the written words`,
    `agrees ${percent(agreement)} where it was read`,
    out === 0 ? null : `${out} of ${count(written.length, "sentence", "sentences")} left out`,
    best ? `best over it: ${best.source.label}, ${best.why.join(", ")}` : "no source has it well",
  ]
    .filter(Boolean)
    .join(" · ");
}

/** A sentence, other times it was said, and what was added after it. */
function lines({ sentence, said, again }, pass, script, written, acts) {
  const added = pass.added.filter((one) => one.after === sentence);
  return [
    said
      ? spoken(said, `script/${script.id}/${pass.pass}/${sentence}`, acts)
      : line("out", null, "–", [el("del", {}, written[sentence]), tag("left out")]),
    ...again.map((take) => line("again", null, when(take), [take.text, tag("said again")])),
    ...added.map((one) =>
      line("extra", null, when(one), [
        el("ins", {}, one.text),
        tag(one.by_another ? "added by somebody else" : "added"),
      ]),
    ),
  ];
}

function spoken(said, key, { play }) {
  const { best } = said;
  const where = when(said);
  const spot = { key, line: said.text, hearing: best };
  const button = best
    ? el("button", {
        type: "button",
        class: "play",
        "data-key": key,
        "aria-label": `Play ${where} from ${best.source.label}, ${best.verdict}`,
        "aria-pressed": "false",
        onclick: () => play(spot),
      })
    : null;
  const source = best ? `${best.source.label}, ${best.verdict}` : "nobody heard it whole";
  return line("said-so", button, where, words(said.words), source);
}

const when = ({ start_ms }) => (start_ms === null ? "not on the clock" : position(start_ms));

function line(kind, button, where, text, source = "") {
  return el(
    "li",
    { class: `moment ${kind}` },
    button ?? el("span"),
    el("span", { class: "time" }, where),
    el("span", { class: "text" }, ...spaced(text)),
    el("span", { class: "placement" }, source),
  );
}

const spaced = (pieces) => pieces.flatMap((piece, n) => (n === 0 ? [piece] : [" ", piece]));

const tag = (text) => el("span", { class: "tag" }, text);

/** The written words with what became of them; neighbours of one kind together. */
function words(steps) {
  const runs = [];
  for (const { kind, written, said } of steps) {
    const last = runs.at(-1);
    if (last?.kind === kind) {
      last.written.push(written);
      last.said.push(said);
    } else runs.push({ kind, written: [written], said: [said] });
  }
  return runs.flatMap(({ kind, written, said }) => run(kind, written.join(" "), said.join(" ")));
}

function run(kind, written, said) {
  if (kind === "left out") return [el("del", {}, written), tag("left out")];
  if (kind === "added") return [el("ins", {}, said), tag("added")];
  if (kind === "changed") return [el("span", { class: "changed" }, written), tag(`said: ${said}`)];
  // The same word, written down otherwise.
  if (kind === "alike") return [el("span", { title: `written down as: ${said}` }, written)];
  return [written];
}

/** What can be made of a pass. */
function after({ pass, start_ms, best }, script, { mark, captions }) {
  const link = (format, recording) =>
    el(
      "a",
      {
        href: captions(script.id, pass, format, recording),
        download: true,
        "aria-label": `Captions of pass ${pass}, .${format}${recording ? `, in the time of ${best.recording.file}` : ""}`,
      },
      `.${format}`,
    );
  const links = (text, recording) =>
    el("span", {}, text, " ", link("vtt", recording), " ", link("srt", recording));
  return el(
    "div",
    { class: "after" },
    start_ms === null ? el("span", {}, "No part can be marked: this pass is not on the event clock.") : form(),
    start_ms === null ? null : links("Captions on the event clock:"),
    best ? links(`Captions in the time of ${best.recording.file}:`, best.recording.id) : null,
  );

  function form() {
    const id = `pass-${pass}-part`;
    const name = el("input", {
      id,
      "data-key": id,
      autocomplete: "off",
      value: script.part,
      "aria-describedby": "scripts-news",
    });
    return el(
      "form",
      {
        class: "mark",
        onsubmit: (event) => {
          event.preventDefault();
          mark(pass, name.value);
        },
      },
      el("label", { for: id }, "Part"),
      name,
      el("button", { type: "submit", class: "quiet", "data-key": `mark/${pass}` }, "Mark as part"),
    );
  }
}
