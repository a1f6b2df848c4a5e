// Keeps the display in this browser. Everything is written before it is compiled, so that nothing is lost by a fault.

const KEY = 'tinsel.display';
/** The display that was here before the present one. */
const BEFORE = 'tinsel.before';
const VERSION = 1;

/** A display: the name of its main file, and a text a name in the order of the tabs. */
function read(text) {
  const kept = JSON.parse(text);
  if (typeof kept !== 'object' || kept === null) throw new Error('this is no display');
  if (kept.version > VERSION) throw new Error('a newer page has kept it');
  const { files } = kept;
  const sound = Array.isArray(files) && files.length && files.every((file) => Array.isArray(file)
    && file.length === 2 && file.every((part) => typeof part === 'string'));
  if (!sound) throw new Error('this is no display');
  const main = files.some(([name]) => name === kept.main) ? kept.main : files[0][0];
  return { main, files: new Map(files) };
}

function written({ main, files }) {
  return JSON.stringify({ version: VERSION, main, files: [...files] });
}

export class Store {
  /** What lies in the browser as far as this page knows. */
  #seen = null;
  /** Why nothing can be kept; null while it can. */
  fault = null;
  /** A text that this page can't read: it is never written over. */
  #foreign = false;

  /** The display that was kept; null where there is none. */
  load() {
    let text;
    try {
      text = localStorage.getItem(KEY);
    } catch {
      this.fault = 'this browser keeps nothing for this page';
      return null;
    }
    if (text === null) return null;
    try {
      const display = read(text);
      this.#seen = text;
      return display;
    } catch (error) {
      this.#foreign = true;
      this.fault = `what this browser has kept can’t be read (${error.message}), and is left as it is`;
      return null;
    }
  }

  /** Keeps a display. Gives what another tab of this page has kept since, where this tab has not seen it. */
  save(display) {
    if (this.#foreign) return null;
    try {
      const lies = localStorage.getItem(KEY);
      const other = lies !== null && lies !== this.#seen && this.#seen !== null ? lies : null;
      const text = written(display);
      localStorage.setItem(KEY, text);
      this.#seen = text;
      this.fault = null;
      return other === null ? null : read(other);
    } catch {
      this.fault = 'this browser has no room for this display, so it is kept only until the page is closed';
      return null;
    }
  }

  /** Another tab has kept a display: gives it where it is news. */
  heard(event) {
    if (event.key !== KEY || event.newValue === null || event.newValue === this.#seen) return null;
    try {
      const display = read(event.newValue);
      this.#seen = event.newValue;
      return display;
    } catch {
      return null;
    }
  }

  /** Sets a display aside before another one takes its place. Gives whether there was room. */
  setAside(display) {
    try {
      localStorage.setItem(BEFORE, written(display));
      return true;
    } catch {
      return false;
    }
  }

  /** The display that was set aside; null where there is none. */
  aside() {
    try {
      return read(localStorage.getItem(BEFORE));
    } catch {
      return null;
    }
  }
}
