// The page: files and tabs, what is kept, when it is compiled, and what the buttons do.
import { Compiler, Trap } from './compiler.js';
import { ask } from './dialog.js';
import { Editor, placeAt, placeOf } from './editor.js';
import { shown as markdown } from './markdown.js';
import { Store } from './store.js';
import { Views, made, tabs, words } from './views.js';

const byId = (id) => document.getElementById(id);
const EXAMPLES = JSON.parse(byId('examples').textContent);
/** A compile that takes longer can be stopped. */
const PATIENCE = 3000;
const FIRST = 'display.tinsel';

/** What the page offers to take away: its words, its form, its ending. */
const DOWNLOADS = [
  ['This file', 'file'], ['All files (zip)', 'zip'], ['Lock', 'lock'], ['Strings (csv)', 'csv', '-strings.csv', 'string'],
  ['Ports (csv)', 'csv', '-ports.csv', 'port'], ['Universes (csv)', 'csv', '-universes.csv', 'universe'],
  ['Controllers (csv)', 'csv', '-controllers.csv', 'controller'], ['Props (csv)', 'csv', '-props.csv', 'prop'], ['All tables (xlsx)', 'xlsx', '.xlsx'],
  ['All tables (json)', 'json', '.json'], ['All tables (yaml)', 'yaml', '.yaml'], ['Report (html)', 'report', '.html'],
  ['Picture of the graph (svg)', 'svg', '.svg'], ['MVR', 'mvr', '.mvr'],
];

const store = new Store();
const compiler = new Compiler();
let display = { main: FIRST, files: new Map([[FIRST, '']]) };
/** Whether anything was written since the display was opened. */
let touched = false;
let outcome = null;
let findings = [];
let compiled = { version: -1 };
let version = 0;

const isLock = (name) => name.endsWith('.lock');
const lockOf = (main) => main.replace(/(\.[^./]*)?$/, '.lock');
const stem = () => display.main.replace(/\.[^./]*$/, '').split('/').pop();

// ---- what is said to whoever writes -----------------------------------------------------------------

const alerts = new Map();

/** Says something that stays until it is no longer so (`text` null) or is closed. */
function alert(kind, text, ...buttons) {
  alerts.get(kind)?.remove();
  alerts.delete(kind);
  if (text === null) return;
  const close = made('button', { type: 'button', class: 'quiet', onclick: () => alert(kind, null) }, 'Close');
  const row = made('p', { class: `alert ${kind}` }, ...[text].flat(), ' ', ...buttons, ' ', close);
  alerts.set(kind, row);
  byId('alerts').append(row);
}

const state = (text) => { byId('state').textContent = text; };

// ---- the display ----------------------------------------------------------------------------------------

const editor = new Editor(byId('editor'), {
  changed(outside) {
    display.files.set(editor.name, editor.doc.toString());
    if (!outside) touched = true;
    changed(!outside);
  },
  scrolled: () => { clearTimeout(scrolling); scrolling = setTimeout(annotate, 60); },
  complete, hover, rename, fixes, definition, keep,
  nextFinding: () => step(1),
  lastFinding: () => step(-1),
});
let scrolling = 0;

/** The text changed: it is kept first, and compiled then. */
function changed(save = true) {
  version += 1;
  if (save) {
    const other = store.save(display);
    // Another tab wrote at the same moment: what it wrote is kept as a file of its own.
    if (other) keepOther(other);
    alert('store', store.fault && `${store.fault[0].toUpperCase()}${store.fault.slice(1)}: download it.`);
  }
  compile();
}

function keepOther(other) {
  for (const [name, text] of other.files) {
    if (display.files.get(name) === text || isLock(name)) continue;
    const copy = name.replace(/(\.[^./]*)?$/, '-other-tab$1');
    if (copy.length < 200) display.files.set(copy, text);
  }
  drawTabs();
  store.save(display);
}

/** Shows a file of the display. */
function show(name) {
  editor.show(name, display.files.get(name), isLock(name));
  drawTabs();
  mark();
  annotate();
}

function drawTabs() {
  const list = byId('tabs');
  const focused = list.contains(document.activeElement);
  list.replaceChildren(...[...display.files.keys()].map((name) => {
    const chosen = name === editor.name;
    const main = name === display.main && display.files.size > 1;
    return made('button', {
      type: 'button', role: 'tab', 'aria-selected': String(chosen), 'aria-controls': 'editor', tabindex: chosen ? 0 : -1, 'data-name': name,
    }, name, ...main ? [made('small', {}, ' main')] : []);
  }));
  if (focused) list.querySelector('[aria-selected=true]')?.focus();
  byId('remove').hidden = editor.name === display.main;
  byId('main').hidden = editor.name === display.main || isLock(editor.name);
  byId('tidy').disabled = isLock(editor.name);
  document.title = `${display.main} · tinsel`;
}

tabs(byId('tabs'), (tab) => show(tab.dataset.name));

/** Another display takes the place of this one, which can be brought back. */
function take(next, { untouched = false } = {}) {
  const worth = [...display.files.values()].some((text) => text.trim());
  if (touched && worth && store.setAside(display)) {
    alert('aside', 'The display that was here is set aside.', made('button', { type: 'button', onclick: bringBack }, 'Bring it back'));
  }
  display = next;
  touched = !untouched;
  editor.forgetAll();
  show(display.main);
  changed();
}

function bringBack() {
  const before = store.aside();
  if (!before) return;
  alert('aside', null);
  touched = true;
  take(before);
}

/** A name that no file has yet. */
function freeName(wanted) {
  const [, base, ending] = /^(.*?)(\.[^./]*)?$/.exec(wanted);
  let name = wanted;
  for (let at = 2; display.files.has(name); at += 1) name = `${base}-${at}${ending ?? ''}`;
  return name;
}

// ---- compiling -------------------------------------------------------------------------------------------

let running = null;

/** Compiles until what was compiled is what is there now. */
async function catchUp() {
  while (compiled.version !== version) {
    const now = version;
    const slow = setTimeout(() => alert('slow', 'This display takes long to compile.', made('button', { type: 'button', onclick: stop }, 'Stop')), PATIENCE);
    state('Compiling…');
    try {
      const began = performance.now();
      const { head, body, took } = await compiler.ask({ ask: 'compile', main: display.main }, new Map(display.files));
      compiled = { version: now };
      outcome = head;
      findings = JSON.parse(new TextDecoder().decode(body)).diagnostics;
      if (now === version) published();
      performance.mark('compiled', { detail: { took, whole: performance.now() - began } });
      alert('trap', null);
    } catch (error) {
      // It is tried again with the next key press, in a fresh instance.
      compiled = { version: now };
      outcome = null;
      const why = error instanceof Trap ? 'The compiler failed on this text. Nothing is lost: it goes on with the next change.' : words(error);
      alert('trap', why);
      state('Not compiled.');
    }
    clearTimeout(slow);
    alert('slow', null);
  }
}

/** Compiles what is there now. While a compile runs, only the last state waits for the next one. */
function compile() {
  running ??= catchUp().finally(() => { running = null; });
  return running;
}

async function stop() {
  alert('slow', null);
  await compiler.restart();
}

/** Shows what became of the display. */
function published() {
  const { build, strings, blocks } = outcome;
  const lock = display.files.has(lockOf(display.main));
  const kept = lock && build ? ` Against the lock: ${build.kept} kept, ${build.new} new, ${build.moved} moved, ${build.freed} freed.` : '';
  state(`${outcome.count}; ${blocks ? 'no addresses' : `${strings} strings have addresses`}.${blocks ? '' : kept}`);
  byId('keep').disabled = blocks || (lock && outcome.stands);
  drawDownloads();
  views.compiled(findings, outcome);
  mark();
  annotate();
}

let said = { hints: [], tokens: [] };

/** Marks the findings of the shown file. */
function mark() {
  const { doc, name } = editor;
  const own = findings.filter((finding) => finding.labels[0]?.file === name).slice(0, 500);
  const marks = own.map((finding) => {
    const [{ line, column, end_line: endLine, end_column: endColumn }] = finding.labels;
    return { from: placeOf(doc, line, column), to: placeOf(doc, endLine, endColumn), severity: finding.severity, finding };
  });
  editor.said(display.files.get(name), { findings: marks, ...said.name === name ? said : {} });
}

/** Hints and kinds of words of the lines that are seen. */
async function annotate() {
  if (compiled.version !== version || !outcome) return;
  const { name } = editor;
  if (isLock(name)) return;
  try {
    const { head } = await compiler.ask({ ask: 'said', name, lines: editor.lines });
    if (compiled.version !== version || name !== editor.name) return;
    said = { name, ...head };
    mark();
  } catch (error) {
    if (!(error instanceof Trap)) said = { hints: [], tokens: [] };
  }
}

/** A question about the shown text as it is now; null where it can't be answered. */
async function asked(question) {
  await compile();
  try {
    return await compiler.ask({ name: editor.name, at: place(), ...question });
  } catch (error) {
    alert('asked', words(error));
    return null;
  }
}

/** A place in the shown text as line and UTF-16 column, from 0. */
function place(at = editor.at) {
  const line = editor.doc.lineAt(at);
  return [line.number - 1, at - line.from];
}

// ---- while writing ----------------------------------------------------------------------------------------

async function complete(context) {
  const before = context.matchBefore(/[\p{L}\p{N}_-]+$/u);
  if (!before && !context.explicit && !/[.:>]\s*$/.test(context.state.sliceDoc(Math.max(0, context.pos - 3), context.pos))) return null;
  const answer = await asked({ ask: 'complete', at: place(context.pos) });
  if (!answer || context.aborted) return null;
  const { from, items } = answer.head;
  return {
    from: placeAt(context.state.doc, from),
    options: items.map(({ label, detail, insert }, at) => ({ label, detail, apply: insert ?? label, boost: -Math.min(at, 99) })),
    validFor: /^[\p{L}\p{N}_-]*$/u,
  };
}

async function hover(at) {
  const own = editor.findings.filter(({ from, to }) => from <= at && at <= Math.max(to, from + 1));
  let answer = null;
  if (compiled.version === version) {
    try { ({ head: answer } = await compiler.ask({ ask: 'hover', name: editor.name, at: place(at) })); } catch { answer = null; }
  }
  if (!own.length && !answer?.markdown) return null;
  return {
    pos: own[0]?.from ?? placeAt(editor.doc, answer.from),
    above: true,
    create: () => ({
      dom: made(
        'div',
        { class: 'hover' },
        ...own.map(({ finding, severity }) => made('p', {}, made('strong', {}, `${severity}: `), `${finding.message}. ${finding.help}`)),
        ...answer?.markdown ? [markdown(answer.markdown)] : [],
      ),
    }),
  };
}

/** Goes to the next finding of this file, or the last one before the cursor. */
function step(way) {
  const all = [...editor.findings].sort((a, b) => (a.from - b.from) * way);
  const next = all.find(({ from }) => (from - editor.at) * way > 0) ?? all[0];
  if (!next) return;
  editor.go(next.from);
  state(`${next.severity}: ${next.finding.message}. ${next.finding.help}`);
}

/** Applies edits: in the shown file as one step that can be undone, in the others as if they were written there. */
function apply(edits) {
  const here = editor.name;
  for (const file of new Set(edits.map((edit) => edit.file))) {
    if (!display.files.has(file)) continue;
    if (file !== editor.name) show(file);
    const { doc } = editor;
    const changes = edits.filter((edit) => edit.file === file).map(({ from, to, text }) => ({ from: placeAt(doc, from), to: placeAt(doc, to), insert: text }));
    editor.view.dispatch({ changes });
  }
  if (editor.name !== here) show(here);
}

/** A fix as findings carry it: lines and columns in characters, from 1. */
function applyFix(fix) {
  const files = new Set(fix.edits.map(({ file }) => file));
  for (const file of files) {
    if (!display.files.has(file)) continue;
    if (file !== editor.name) show(file);
    const { doc } = editor;
    const own = fix.edits.filter((edit) => edit.file === file);
    editor.view.dispatch({
      changes: own.map((edit) => ({
        from: placeOf(doc, edit.line, edit.column), to: placeOf(doc, edit.end_line, edit.end_column), insert: edit.text,
      })),
    });
  }
  editor.view.focus();
}

async function rename() {
  const answer = await asked({ ask: 'name' });
  if (!answer) return;
  const { word } = answer.head;
  const to = await ask({ title: `Rename ${word}`, label: 'New name', value: word, yes: 'Rename' });
  if (to === null || to.trim() === word) { editor.view.focus(); return; }
  const renamed = await asked({ ask: 'rename', to: to.trim() });
  if (renamed) apply(renamed.head.edits);
  editor.view.focus();
}

async function fixes() {
  const answer = await asked({ ask: 'actions' });
  const actions = answer?.head.actions ?? [];
  if (!actions.length) { state('Nothing to fix or change here.'); return; }
  const chosen = await ask({ title: 'What to change here', choices: actions.map(({ title }) => title) });
  if (chosen !== null) apply(actions[chosen].edits);
  editor.view.focus();
}

async function definition() {
  const answer = await asked({ ask: 'definition' });
  const [first] = answer?.head.places ?? [];
  if (!first || !display.files.has(first.file)) return;
  if (first.file !== editor.name) show(first.file);
  editor.go(placeAt(editor.doc, first.from), placeAt(editor.doc, first.to));
}

const views = new Views(compiler, {
  go({ file, line, column, end_line: endLine, end_column: endColumn }) {
    if (!display.files.has(file)) return;
    if (file !== editor.name) show(file);
    editor.go(placeOf(editor.doc, line, column), placeOf(editor.doc, endLine, endColumn));
  },
  apply: applyFix,
  async explain(code) {
    const { body } = await compiler.ask({ ask: 'explain', code });
    ask({ title: code, pre: new TextDecoder().decode(body), yes: 'Close' });
  },
});

// ---- files ---------------------------------------------------------------------------------------------------

/** Builds: the lock takes in where everything lies now. */
async function keep() {
  await compile();
  if (!outcome || outcome.blocks) { state('Errors leave no addresses to keep.'); return; }
  const { body } = await compiler.ask({ ask: 'make', form: 'lock' });
  const name = lockOf(display.main);
  const { build } = outcome;
  const text = new TextDecoder().decode(body);
  display.files.set(name, text);
  if (editor.name === name) editor.replace(text);
  touched = true;
  drawTabs();
  changed();
  await compile();
  const what = build ? `${build.kept} kept, ${build.new} new, ${build.moved} moved, ${build.freed} freed` : 'the first lock';
  state(`The addresses are kept in ${name}: ${what}.`);
}

function drawDownloads() {
  const list = byId('download');
  if (list.length === 1) list.append(...DOWNLOADS.map(([text], at) => made('option', { value: at }, text)));
  list.disabled = false;
}

function save(name, bytes) {
  const url = URL.createObjectURL(new Blob([bytes]));
  const link = made('a', { href: url, download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(url), 10000);
}

async function download([, form, ending, by]) {
  if (form === 'file') { save(editor.name.split('/').pop(), display.files.get(editor.name)); return; }
  await compile();
  try {
    const { body } = await compiler.ask({ ask: 'make', form, by }, display.files);
    save(form === 'lock' ? lockOf(display.main).split('/').pop() : `${stem()}${ending ?? '.zip'}`, body);
  } catch (error) {
    alert('asked', words(error));
  }
}

/** A browser gives files without their folders: those that a display includes from a folder are put there again. */
function placed(texts) {
  const paths = [...texts.values(), ...display.files.values()].flatMap((text) => [...text.matchAll(/^\s*(?:include|stock)\s+"([^"\\]+)"/gm)])
    .map(([, path]) => path).filter((path) => path.includes('/') && !path.includes('..'));
  for (const path of paths) {
    const name = path.split('/').pop();
    if (texts.has(path) || !texts.has(name)) continue;
    texts.set(path, texts.get(name));
    texts.delete(name);
  }
}

/** Takes files in: texts of a display as tabs, and a table of props as a display that is made of it. */
async function opened(list) {
  const texts = new Map();
  for (const file of list) {
    const bytes = new Uint8Array(await file.arrayBuffer());
    const { name } = file;
    if (/\.(tinsel|lock)$/.test(name)) {
      try {
        texts.set(name, new TextDecoder('utf-8', { fatal: true }).decode(bytes).replaceAll(/\r\n?/g, '\n'));
      } catch {
        alert('open', `${name} is not UTF-8, so it is not opened.`);
      }
    } else {
      await imported(file.name, bytes);
    }
  }
  if (!texts.size) return;
  placed(texts);
  const empty = !touched || [...display.files.values()].every((text) => !text.trim());
  if (empty) {
    // The main file is the one that no other names.
    const mains = [...texts.keys()].filter((name) => !isLock(name));
    if (!mains.length) { alert('open', 'A lock alone is no display: open its display with it.'); return; }
    const named = (name) => [...texts].some(([other, text]) => other !== name && text.includes(`"${name.split('/').pop()}"`));
    const main = mains.find((name) => texts.has(lockOf(name))) ?? mains.find((name) => !named(name)) ?? mains[0];
    take({ main, files: texts });
    return;
  }
  const taken = [...texts.keys()].filter((name) => display.files.has(name));
  if (taken.length && await ask({ title: 'Replace?', text: `${taken.join(', ')} will be replaced in this display.`, yes: 'Replace' }) === null) return;
  for (const [name, text] of texts) {
    display.files.set(name, text);
    if (name === editor.name) editor.replace(text);
  }
  touched = true;
  show([...texts.keys()].find((name) => !isLock(name)) ?? editor.name);
  changed();
}

async function imported(name, bytes) {
  try {
    const { head, body } = await compiler.ask({ ask: 'import', name }, null, bytes);
    const text = new TextDecoder().decode(body);
    const file = `${name.replace(/\.[^.]*$/, '').split('/').pop() || 'props'}.tinsel`;
    const notes = head.notes.length ? [made('ul', {}, ...head.notes.map((note) => made('li', {}, note)))] : [];
    alert('import', [`${name}: ${head.rows} rows became ${head.props} props.`, ...notes]);
    if (!touched) {
      take({ main: file, files: new Map([[file, text]]) });
    } else {
      const free = freeName(file);
      display.files.set(free, text);
      show(free);
      changed();
    }
  } catch (error) {
    alert('import', `${name} was not imported. ${words(error)}`);
  }
}

byId('open').addEventListener('click', () => byId('files').click());
byId('files').addEventListener('change', async (event) => {
  await opened([...event.target.files]);
  event.target.value = '';
});
document.addEventListener('dragover', (event) => { if (event.dataTransfer?.types.includes('Files')) event.preventDefault(); });
document.addEventListener('drop', (event) => {
  const files = [...event.dataTransfer?.files ?? []];
  if (!files.length) return;
  event.preventDefault();
  opened(files);
});
byId('new').addEventListener('click', () => take({ main: FIRST, files: new Map([[FIRST, '']]) }));
byId('keep').addEventListener('click', keep);
byId('tidy').addEventListener('click', async () => {
  const answer = await asked({ ask: 'format' });
  if (answer) editor.replace(new TextDecoder().decode(answer.body));
});
byId('add').addEventListener('click', async () => {
  const name = await ask({ title: 'Add a file', label: 'Its name', value: freeName('props.tinsel'), yes: 'Add' });
  if (name === null || !named(name)) return;
  display.files.set(name, '');
  touched = true;
  show(name);
  changed();
});
byId('rename').addEventListener('click', async () => {
  const before = editor.name;
  const name = await ask({ title: `Rename ${before}`, label: 'New name', value: before, yes: 'Rename' });
  if (name === null || name === before || !named(name)) return;
  const renames = new Map([[before, name]]);
  // The lock goes by the name of its display.
  if (before === display.main && display.files.has(lockOf(before))) renames.set(lockOf(before), lockOf(name));
  for (const [old, now] of renames) editor.forget(old, now);
  display.files = new Map([...display.files].map(([old, text]) => [renames.get(old) ?? old, text]));
  if (before === display.main) display.main = name;
  touched = true;
  drawTabs();
  changed();
});
byId('remove').addEventListener('click', async () => {
  const { name } = editor;
  const sure = await ask({ title: `Remove ${name}?`, text: 'It goes out of this display and can’t be brought back, unless you download it first.', yes: 'Remove' });
  if (!sure) return;
  show(display.main);
  editor.forget(name);
  display.files.delete(name);
  touched = true;
  drawTabs();
  changed();
});
byId('main').addEventListener('click', () => {
  display.main = editor.name;
  touched = true;
  drawTabs();
  changed();
});
byId('download').addEventListener('change', (event) => {
  const chosen = DOWNLOADS[event.target.value];
  event.target.value = '';
  if (chosen) download(chosen);
});
byId('example').append(...EXAMPLES.map(({ name }, at) => made('option', { value: at }, name)));
byId('example').addEventListener('change', (event) => {
  const chosen = EXAMPLES[event.target.value];
  event.target.value = '';
  if (chosen) take({ main: chosen.main, files: new Map(Object.entries(chosen.files)) }, { untouched: true });
});

/** Whether a name can be a file's; says why not. */
function named(name) {
  const fit = /\.(tinsel|lock)$/.test(name) && !/[\\:]|(^|\/)\.{0,2}(\/|$)/.test(name) && name.length < 200;
  const free = !display.files.has(name);
  alert('name', fit && free ? null : `${name || 'Nothing'} can’t be the name of a file here: ${fit ? 'it is taken' : 'it must end in .tinsel'}.`);
  return fit && free;
}

window.addEventListener('storage', (event) => {
  const other = store.heard(event);
  if (!other) return;
  display = other;
  const name = display.files.has(editor.name) ? editor.name : display.main;
  if (name === editor.name) editor.replace(display.files.get(name), true);
  show(name);
  changed(false);
});
window.addEventListener('beforeunload', (event) => { if (store.fault && touched) event.preventDefault(); });
// Only the lines that are seen are in the page, so a print has the text and the findings written out.
window.addEventListener('beforeprint', () => {
  const paper = [...display.files].filter(([name]) => !isLock(name)).flatMap(([name, text]) => [
    made('h2', {}, name), made('ol', { class: 'paper' }, ...text.split('\n').map((line) => made('li', {}, made('code', {}, line)))),
  ]);
  document.body.append(made('div', { id: 'paper' }, ...paper));
});
window.addEventListener('afterprint', () => byId('paper')?.remove());

// ---- the beginning -------------------------------------------------------------------------------------------

const before = store.load();
if (before) {
  display = before;
  touched = true;
} else {
  const [first] = EXAMPLES;
  display = { main: first.main, files: new Map(Object.entries(first.files)) };
}
alert('store', store.fault && `${store.fault[0].toUpperCase()}${store.fault.slice(1)}: download it.`);
show(display.main);
compiler.ready.then(() => {
  performance.mark('ready');
  document.documentElement.dataset.ready = 'yes';
  changed(false);
}, (error) => {
  state('The compiler does not start in this browser.');
  alert('start', `This browser can’t run the compiler (${error.message}). A newer one can: any that has WebAssembly and DecompressionStream.`);
});
