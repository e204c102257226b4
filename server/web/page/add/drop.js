// What was dropped or chosen: files with their paths, folders walked through.

/** More files at once are surely not meant. */
const MOST = 20_000;

/** `{file, path}` of what was dropped, folders and all below them. */
export async function dropped(transfer) {
  // To be asked for at once: after the event is over there are no items.
  const entries = [...transfer.items]
    .filter(({ kind }) => kind === "file")
    .map((item) => item.webkitGetAsEntry?.() ?? item.getAsFile());
  const found = [];
  for (const entry of entries) {
    if (entry instanceof File) found.push({ file: entry, path: entry.name });
    else if (entry) await walk(entry, found);
  }
  return found;
}

/** The same of an `<input type="file">`. */
export function chosen(input) {
  return [...input.files].map((file) => ({ file, path: file.webkitRelativePath || file.name }));
}

async function walk(entry, found) {
  if (found.length >= MOST || entry.name.startsWith(".")) return;
  const path = entry.fullPath.replace(/^\//u, "");
  if (entry.isFile) {
    const file = await new Promise((done, failed) => entry.file(done, failed)).catch(() => null);
    if (file) found.push({ file, path });
    return;
  }
  const reader = entry.createReader();
  for (;;) {
    // It hands out a hundred at a time.
    const some = await new Promise((done, failed) => reader.readEntries(done, failed)).catch(() => []);
    if (some.length === 0) return;
    for (const one of some) await walk(one, found);
  }
}
