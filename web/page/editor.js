// The text of a display: CodeMirror with what the compiler says about it.
import { autocompletion, closeBrackets, closeBracketsKeymap, completionKeymap, startCompletion } from '@codemirror/autocomplete';
import { defaultKeymap, history, historyKeymap, insertNewlineKeepIndent } from '@codemirror/commands';
import { highlightSelectionMatches, searchKeymap } from '@codemirror/search';
import { Annotation, Compartment, EditorState, RangeSet, StateEffect, StateField, Text } from '@codemirror/state';
import {
  Decoration, EditorView, drawSelection, highlightActiveLine, hoverTooltip, keymap, lineNumbers, WidgetType,
} from '@codemirror/view';

/** The place of a line (from 1) and a column in characters (from 1) in a text. */
export function placeOf(doc, line, column) {
  if (line > doc.lines) return doc.length;
  const { from, text } = doc.line(Math.max(1, line));
  let at = 0;
  for (let left = column - 1; left > 0 && at < text.length; left -= 1) at += text.codePointAt(at) > 0xffff ? 2 : 1;
  return from + at;
}

/** The place of a line and a column in UTF-16 units, both from 0. */
export function placeAt(doc, [line, character]) {
  if (line >= doc.lines) return doc.length;
  const { from, to } = doc.line(line + 1);
  return Math.min(from + character, to);
}

/** A text that stands in the display but is not part of it. */
class Hint extends WidgetType {
  constructor(text, tip, old) {
    super();
    Object.assign(this, { text, tip, old });
  }

  eq(other) { return other.text === this.text && other.tip === this.tip && other.old === this.old; }

  toDOM() {
    const hint = document.createElement('span');
    hint.className = this.old ? 'hint old' : 'hint';
    hint.textContent = this.old ? `${this.text} (old)` : this.text;
    hint.title = this.old ? `${this.tip} (of the last display without errors)` : this.tip;
    return hint;
  }
}

const setSaid = StateEffect.define();

/** What the compiler said of a text: marks under findings, hints, and the kinds of words. */
const said = StateField.define({
  create: () => ({ marks: Decoration.none, findings: [] }),
  update(value, transaction) {
    for (const effect of transaction.effects) if (effect.is(setSaid)) return effect.value(transaction.newDoc);
    if (!transaction.docChanged) return value;
    const findings = value.findings.map((finding) => ({
      ...finding,
      from: transaction.changes.mapPos(finding.from, 1),
      to: transaction.changes.mapPos(finding.to, -1),
    }));
    return { marks: value.marks.map(transaction.changes), findings };
  },
  provide: (field) => EditorView.decorations.from(field, (value) => value.marks),
});

function decorations(doc, { findings = [], hints = [], tokens = [] }) {
  const marks = [];
  for (const { from, to, severity } of findings) {
    // An empty stretch is shown at the letter before it.
    const start = to > from ? from : Math.max(0, from - 1);
    if (to > start) marks.push(Decoration.mark({ class: `mark ${severity}` }).range(start, to));
  }
  for (const { at, text, tip, old } of hints) {
    marks.push(Decoration.widget({ widget: new Hint(text, tip, old), side: 1 }).range(placeAt(doc, at)));
  }
  for (const [start, end, kind] of tokens) {
    const [from, to] = [placeAt(doc, start), placeAt(doc, end)];
    if (to > from) marks.push(Decoration.mark({ class: `t-${kind}` }).range(from, to));
  }
  return RangeSet.of(marks, true);
}

/** A change that came from elsewhere than this editor's keys. */
export const fromOutside = Annotation.define();

export class Editor {
  #states = new Map();
  #readOnly = new Compartment();
  #actions;
  name = null;

  /** `actions` answers for this editor; see page.js. */
  constructor(parent, actions) {
    this.#actions = actions;
    this.view = new EditorView({ parent, state: this.#fresh('') });
  }

  #fresh(text) {
    const actions = this.#actions;
    const run = (action) => () => { actions[action](); return true; };
    return EditorState.create({
      doc: Text.of(text.split(/\r\n?|\n/)),
      extensions: [
        EditorView.cspNonce.of(document.getElementById('editor').dataset.nonce),
        EditorView.contentAttributes.of({ 'aria-label': 'Text of the display', spellcheck: 'false', autocorrect: 'off' }),
        EditorState.tabSize.of(4),
        lineNumbers(), history(), drawSelection(), highlightActiveLine(), highlightSelectionMatches(), closeBrackets(),
        EditorView.lineWrapping,
        said,
        this.#readOnly.of([]),
        autocompletion({ override: [(context) => actions.complete(context)], icons: false, selectOnOpen: false, maxRenderedOptions: 60 }),
        hoverTooltip((view, at) => actions.hover(at)),
        keymap.of([
          { key: 'F2', run: run('rename') },
          { key: 'F8', run: run('nextFinding') },
          { key: 'Shift-F8', run: run('lastFinding') },
          { key: 'F12', run: run('definition') },
          { key: 'Mod-.', run: run('fixes') },
          { key: 'Mod-s', run: run('keep') },
          { key: 'Ctrl-Space', run: startCompletion },
          { key: 'Enter', run: insertNewlineKeepIndent },
          ...closeBracketsKeymap, ...completionKeymap, ...searchKeymap, ...historyKeymap, ...defaultKeymap,
        ]),
        EditorView.updateListener.of((update) => {
          if (update.docChanged) actions.changed(update.transactions.some((one) => one.annotation(fromOutside)));
          else if (update.viewportChanged) actions.scrolled();
        }),
        EditorView.domEventHandlers({
          click: (event, view) => {
            if (!(event.ctrlKey || event.metaKey)) return false;
            const at = view.posAtCoords({ x: event.clientX, y: event.clientY });
            if (at === null) return false;
            view.dispatch({ selection: { anchor: at } });
            actions.definition();
            return true;
          },
        }),
        EditorView.theme({
          '&': { height: '100%', backgroundColor: 'var(--raised)', color: 'var(--ink)' },
          '.cm-scroller': { fontFamily: 'var(--mono)', lineHeight: '1.55' },
          '.cm-gutters': { backgroundColor: 'var(--paper)', color: 'var(--soft)', borderRight: '1px solid var(--line)' },
          '.cm-content': { caretColor: 'var(--ink)' },
          '.cm-cursor': { borderLeftColor: 'var(--ink)', borderLeftWidth: '2px' },
          '.cm-activeLine, .cm-activeLineGutter': { backgroundColor: 'var(--active)' },
          '&.cm-focused .cm-selectionBackground, .cm-selectionBackground': { backgroundColor: 'var(--select) !important' },
          '.cm-selectionMatch': { backgroundColor: 'var(--match)' },
          '.cm-tooltip': { backgroundColor: 'var(--raised)', color: 'var(--ink)', border: '1px solid var(--soft)' },
          '.cm-tooltip-autocomplete ul li[aria-selected]': { backgroundColor: 'var(--accent)', color: 'var(--paper)' },
          '.cm-panels': { backgroundColor: 'var(--paper)', color: 'var(--ink)' },
        }),
      ],
    });
  }

  /** The text of a file; undefined where it was never shown. */
  text(name) {
    const state = name === this.name ? this.view.state : this.#states.get(name);
    return state?.doc.toString();
  }

  /** Shows a file; what could be undone in it can be undone again. */
  show(name, text, readOnly) {
    if (this.name !== null) this.#states.set(this.name, this.view.state);
    const kept = this.#states.get(name);
    let state = kept ?? this.#fresh(text);
    if (kept && kept.doc.toString() !== text) {
      state = kept.update({ changes: { from: 0, to: kept.doc.length, insert: text } }).state;
    }
    this.name = name;
    this.view.setState(state);
    this.view.dispatch({ effects: this.#readOnly.reconfigure(readOnly ? EditorState.readOnly.of(true) : []) });
  }

  /** Forgets a file, or calls it by another name. */
  forget(name, renamed = null) {
    const state = name === this.name ? this.view.state : this.#states.get(name);
    this.#states.delete(name);
    if (renamed && state) this.#states.set(renamed, state);
    if (name === this.name) this.name = renamed;
  }

  forgetAll() {
    this.#states.clear();
    this.name = null;
  }

  /** Gives the shown file another text, as one step that can be undone; only the part that differs changes. */
  replace(text, outside = false) {
    const { doc } = this.view.state;
    const before = doc.toString();
    if (before === text) return;
    let from = 0;
    while (from < before.length && before[from] === text[from]) from += 1;
    let [to, end] = [before.length, text.length];
    while (to > from && end > from && before[to - 1] === text[end - 1]) { to -= 1; end -= 1; }
    this.view.dispatch({
      changes: { from, to, insert: text.slice(from, end) },
      annotations: outside ? fromOutside.of(true) : [],
    });
  }

  /** Shows what was said of the shown text, if it is still that text. */
  said(text, what) {
    if (this.view.state.doc.toString() !== text) return;
    this.view.dispatch({
      effects: setSaid.of((doc) => ({ marks: decorations(doc, what), findings: what.findings ?? [] })),
    });
  }

  /** The findings of the shown file, where they are now. */
  get findings() { return this.view.state.field(said).findings; }

  /** Goes to a place. */
  go(from, to = from) {
    const most = this.view.state.doc.length;
    this.view.dispatch({
      selection: { anchor: Math.min(from, most), head: Math.min(to, most) },
      effects: EditorView.scrollIntoView(Math.min(from, most), { y: 'center' }),
    });
    this.view.focus();
  }

  /** The first and last line that are drawn, from 0, with some to spare. */
  get lines() {
    const { from, to } = this.view.viewport;
    const { doc } = this.view.state;
    return [Math.max(0, doc.lineAt(from).number - 100), doc.lineAt(to).number + 100];
  }

  /** Where the cursor is. */
  get at() { return this.view.state.selection.main.head; }

  get doc() { return this.view.state.doc; }
}
