// Which recorder made these files, and where was it? Told from names alone, so always a
// guess, and always with its reason. Pure.

/** Files that only these endings have are of a camera. */
const PICTURE = new Set(["mov", "mp4", "m4v", "mxf", "mkv", "3gp", "webm"]);
const SOUND = new Set([
  "aac", "aif", "aifc", "aiff", "bw64", "bwf", "flac", "m4a", "mka", "mp3", "oga", "ogg", "opus",
  "rf64", "wav", "wave",
]);

/** Words in the names of folders and files, and what they say. The first that is found counts. */
const WORDS = [
  ["worn", "lav lavalier lapel worn wearable tx bodypack groom bride vest tie officiant celebrant"],
  ["feed", "feed desk board mix mixer foh pa aux speaker receiver rx"],
  ["stand", "stand lectern lect pulpit podium ambo handheld"],
  ["ambient", "ambient amb room atmo atmos floor band quartet strings organ hall"],
  ["camera", "cam camera acam bcam ccam vid video clip dcim gimbal drone"],
  // Last: what recorders call files by themselves says little.
  ["stand", "rec recorder"],
].map(([placement, words]) => [placement, new Set(words.split(" "))]);

/** Words for a role or a thing, so never a person's name. */
const NO_NAMES = new Set(
  ("a audio b c card copy d day disk dr e event f file files final folder g h i left m main mic mono " +
    "new no p private project r rec recorder recording right roll s scene sd session sound stereo t " +
    "take tape track tr trk wav wave x z january february march april may june july august " +
    "september october november december mon tue wed thu fri sat sun morning evening ceremony " +
    "reception party wedding speeches toasts vows letters prep preparation").split(" "),
);

/** Names of folders that cards have, which say nothing of the recorder. */
const CARD = /^(dcim|private|clip|clips|audio|stereo|multi|mono|folder\d*|\d{3}\w{0,5}|m4root|bpav|xdroot|avchd|bdmv|stream|contents|files?|recordings?|sound|new folder|untitled)$/iu;

const tidy = (text) => text.normalize("NFC").trim();
const ending = (name) => /\.([a-z0-9]+)$/iu.exec(name)?.[1].toLowerCase() ?? "";
const stem = (name) => name.replace(/\.[a-z0-9]+$/iu, "");

/** `deskMix_rec` as desk, mix, rec. */
export function words(text) {
  return text
    .replace(/(\p{Ll})(\p{Lu})/gu, "$1 $2")
    .toLowerCase()
    .split(/[^\p{L}]+/u)
    .filter(Boolean);
}

/** Whether a file may be a recording, by its ending. */
export const isRecording = (name) => PICTURE.has(ending(name)) || SOUND.has(ending(name));

/**
 * What is the same in the names of one recorder's files: all but counters, dates and
 * times. `COR_0620_001.wav` and `COR_0620_002.wav` are `cor`.
 */
export function pattern(name) {
  return stem(name)
    .toLowerCase()
    .replace(/\d+/gu, " ")
    .replace(/[\s._()[\]-]+/gu, " ")
    .replace(/\b(tr|trk|track|ch|lr|copy|part|take)\b/gu, " ")
    .replace(/\s+/gu, " ")
    .trim();
}

/** The nearest folder of a path that says something: not that of a card. */
export function telling(path) {
  const folders = path.split("/").slice(0, -1).map(tidy).filter(Boolean);
  return folders.reverse().find((folder) => !CARD.test(folder)) ?? "";
}

function placed(texts) {
  for (const [text, where] of texts) {
    const said = words(text);
    for (const [placement, known] of WORDS) {
      const word = said.find((one) => known.has(one) || known.has(one.replace(/s$/u, "")));
      const weak = word === "rec" || word === "recorder" ? ", as a recorder left standing may call it" : "";
      if (word) return { placement, why: `${where} says '${word}'${weak}` };
    }
  }
  return null;
}

/** A name in a folder or a file's beginning, when it is alone beside words that are known. */
function named(text, people) {
  const said = words(text).filter((word) => word.length > 1 && !NO_NAMES.has(word));
  for (const person of people) {
    const parts = words(person);
    const begins = (word) => word.length >= 3 && parts.some((part) => part.startsWith(word));
    if (said.some((word) => parts.includes(word)) || (said.length > 0 && begins(said[0]))) return person;
  }
  return null;
}

/** A word that is nothing else may be somebody's name, where a worn recorder has it. */
function perhapsName(text) {
  const known = new Set(WORDS.flatMap(([, list]) => [...list]));
  const said = text
    .split(/[^\p{L}]+/u)
    .filter((word) => word.length > 2 && /^\p{Lu}\p{Ll}+$/u.test(word))
    .filter((word) => !known.has(word.toLowerCase()) && !NO_NAMES.has(word.toLowerCase()));
  return said.length === 1 ? said[0] : null;
}

/**
 * Groups files by recorder: `files` are `{path, size}`, paths with `/` as they were
 * dropped, `people` names that are known in the event. Each group is `{label, placement,
 * person, files, why}`, `why` a list of reasons.
 */
export function guess(files, people = []) {
  const groups = new Map();
  for (const file of files) {
    const name = file.path.split("/").at(-1);
    const folder = telling(file.path);
    const kind = PICTURE.has(ending(name)) ? "picture" : "sound";
    const key = JSON.stringify([folder, pattern(name), kind]);
    if (!groups.has(key)) groups.set(key, { folder, name, kind, files: [] });
    groups.get(key).files.push(file);
  }
  const found = merged([...groups.values()]).map((group) => one(group, people));
  return apart(found).sort((a, b) => a.label.localeCompare(b.label));
}

/** A folder whose name says whose it is holds one recorder, whatever its files are called. */
function merged(groups) {
  const whole = new Map();
  const out = [];
  for (const group of groups) {
    const says = group.folder && (placed([[group.folder, ""]]) || groups.every((g) => g === group || g.folder !== group.folder));
    const key = JSON.stringify([group.folder, group.kind]);
    if (!says || !whole.has(key)) {
      const copy = { ...group, files: [...group.files], byFolder: Boolean(says) };
      if (says) whole.set(key, copy);
      out.push(copy);
    } else {
      whole.get(key).files.push(...group.files);
    }
  }
  return out;
}

function one({ folder, name, kind, files, byFolder }, people) {
  const why = [];
  const prefix = stem(name).replace(/[\d\s._()[\]-]+$/u, "").trim();
  const label = tidy(byFolder ? folder : prefix || folder || stem(name));
  if (files.length > 1) {
    why.push(byFolder ? `${files.length} files of the folder '${folder}'` : `${files.length} files whose names differ by numbers only`);
  } else {
    why.push(byFolder ? `the folder '${folder}'` : "its name");
  }
  const texts = [
    [stem(name), "the file's name"],
    [folder, "the folder"],
  ];
  let place = placed(byFolder ? [texts[1], texts[0]] : texts);
  let person = named(folder, people) ?? named(stem(name), people);
  if (person) why.push(`'${person}' is known in this event`);
  if (kind === "picture") place = { placement: "camera", why: "files with a picture are a camera's" };
  else if (!place && person) place = { placement: "worn", why: "it is named like a person" };
  if (!person && place?.placement === "worn") {
    person = perhapsName(folder) ?? perhapsName(stem(name).replace(/[_\d-]+/gu, " "));
    if (person) why.push(`'${person}' may be who wears it`);
  }
  if (!place) place = { placement: "ambient", why: "nothing says where it stood" };
  why.push(place.why);
  const worn = place.placement === "worn";
  return { label: label || "recordings", placement: place.placement, person: worn ? (person ?? "") : "", files, why };
}

/** Two recorders never have one label. */
function apart(groups) {
  const seen = new Map();
  for (const group of groups) {
    const n = (seen.get(group.label.toLowerCase()) ?? 0) + 1;
    seen.set(group.label.toLowerCase(), n);
    if (n > 1) group.label += ` ${n}`;
  }
  return groups;
}
