// Where half-sent files are at the server, kept over a closed page: by event, name, size
// and time of change, for a page may not keep the files themselves.

const BEGIN = "sayback upload ";

export class Kept {
  key({ eventId, file, about }) {
    return BEGIN + JSON.stringify([eventId, about.filename, file.size, file.lastModified, about.source]);
  }

  address(item) {
    return read(this.key(item));
  }

  remember(item, address) {
    try {
      localStorage.setItem(this.key(item), address);
    } catch {
      // It goes on until the page is closed.
    }
  }

  forget(item) {
    this.drop(this.key(item));
  }

  drop(key) {
    try {
      localStorage.removeItem(key);
    } catch {
      // There was nothing kept, then.
    }
  }

  /** What was half-sent to an event. */
  all(eventId) {
    let keys = [];
    try {
      keys = Object.keys(localStorage).filter((key) => key.startsWith(BEGIN));
    } catch {
      return [];
    }
    return keys.flatMap((key) => {
      try {
        const [event, name, size, , source] = JSON.parse(key.slice(BEGIN.length));
        return event === eventId ? [{ key, name, size, source, address: read(key) }] : [];
      } catch {
        return [];
      }
    });
  }
}

function read(key) {
  try {
    return localStorage.getItem(key);
  } catch {
    return null;
  }
}
