// How amounts of data are written for people. Pure.

/** 1.2 GB, 640 kB: in thousands, as cards and disks are labelled. */
export function amount(bytes) {
  for (const [unit, size] of [["TB", 1e12], ["GB", 1e9], ["MB", 1e6], ["kB", 1e3]]) {
    if (bytes >= size) {
      const n = bytes / size;
      return `${n < 10 ? n.toFixed(1) : n.toFixed(0)} ${unit}`;
    }
  }
  return `${bytes} B`;
}
