// What comes of a display: findings, tables, the report, changes.
import { Refused } from './compiler.js';

const MOST_FINDINGS = 200;
const MOST_ROWS = 100;

/** An element with attributes, listeners (`onclick`) and children. */
export function made(name, attributes = {}, ...children) {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith('on')) element.addEventListener(key.slice(2), value);
    else if (value !== false && value !== null) element.setAttribute(key, value === true ? '' : value);
  }
  element.append(...children);
  return element;
}

const byId = (id) => document.getElementById(id);

/** A row of tabs: one is chosen, the arrow keys go to its neighbours. */
export function tabs(list, chosen) {
  list.addEventListener('keydown', (event) => {
    const all = [...list.querySelectorAll('[role=tab]')];
    const at = all.indexOf(document.activeElement);
    const to = { ArrowRight: at + 1, ArrowLeft: at - 1, Home: 0, End: all.length - 1 }[event.key];
    if (at < 0 || to === undefined) return;
    event.preventDefault();
    const next = all[(to + all.length) % all.length];
    next.focus();
    next.click();
  });
  list.addEventListener('click', (event) => {
    const tab = event.target.closest('[role=tab]');
    if (tab) chosen(tab);
  });
}

export class Views {
  #compiler;
  #actions;
  #shown = 'findings';
  #from = 0;
  #fresh = new Set();
  #blocks = true;

  /** `actions`: `go(place)`, `apply(fix)`, `explain(code)`. */
  constructor(compiler, actions) {
    this.#compiler = compiler;
    this.#actions = actions;
    tabs(byId('views'), (tab) => this.show(tab.getAttribute('aria-controls')));
    byId('by').append(...['string', 'prop', 'port', 'universe', 'controller'].map((word) => made('option', { value: word }, word)));
    const again = () => { this.#from = 0; this.#rows(); };
    byId('by').addEventListener('change', again);
    byId('like').addEventListener('input', again);
    byId('ask').addEventListener('submit', (event) => event.preventDefault());
    byId('back').addEventListener('click', () => { this.#from = Math.max(0, this.#from - MOST_ROWS); this.#rows(); });
    byId('forth').addEventListener('click', () => { this.#from += MOST_ROWS; this.#rows(); });
  }

  /** Shows one of the views. */
  show(name) {
    this.#shown = name;
    for (const tab of byId('views').children) {
      const chosen = tab.getAttribute('aria-controls') === name;
      tab.setAttribute('aria-selected', chosen);
      tab.tabIndex = chosen ? 0 : -1;
      byId(tab.getAttribute('aria-controls')).hidden = !chosen;
    }
    this.#fill();
  }

  /** A display was compiled. */
  compiled(findings, outcome) {
    this.#fresh.clear();
    this.#blocks = outcome.blocks;
    this.#findings(findings, outcome);
    this.#fill();
  }

  /** Fills what is looked at, once a compile. */
  #fill() {
    if (this.#fresh.has(this.#shown)) return;
    this.#fresh.add(this.#shown);
    if (this.#shown === 'tables') this.#rows();
    if (this.#shown === 'report') this.#report();
    if (this.#shown === 'changes') this.#changes();
  }

  #findings(findings, outcome) {
    const panel = byId('findings');
    const items = findings.slice(0, MOST_FINDINGS).map((finding) => this.#finding(finding));
    const more = findings.length - items.length;
    panel.replaceChildren(
      made('p', {}, `${outcome.count[0].toUpperCase()}${outcome.count.slice(1)}.`),
      made('ol', { class: 'findings' }, ...items),
      ...more > 0 ? [made('p', {}, `And ${more} more.`)] : [],
    );
  }

  #finding(finding) {
    const [first, ...others] = finding.labels;
    const place = (label) => `${label.file}:${label.line}:${label.column}`;
    const link = (label, ...text) => made('a', {
      href: '#editor',
      onclick: (event) => { event.preventDefault(); this.#actions.go(label); },
    }, ...text);
    const fixes = [finding.fix, ...finding.choices ?? []].filter(Boolean);
    return made(
      'li',
      { class: finding.severity },
      made('p', {}, made('strong', {}, `${finding.severity}: `), link(first, finding.message), ` (${place(first)}: ${first.text})`),
      ...others.map((label) => made('p', { class: 'other' }, link(label, place(label)), `: ${label.text}`)),
      made('p', {}, finding.why),
      made('p', { class: 'help' }, finding.help),
      made(
        'p',
        { class: 'tools' },
        ...fixes.map((fix) => made('button', { type: 'button', onclick: () => this.#actions.apply(fix) }, `Fix: ${fix.title}`)),
        made('button', { type: 'button', class: 'quiet', onclick: () => this.#actions.explain(finding.code) }, `About ${finding.code}`),
      ),
    );
  }

  async #rows() {
    const [by, like, from] = [byId('by').value, byId('like').value, this.#from];
    const table = byId('table');
    let found;
    try {
      ({ head: found } = await this.#compiler.ask({ ask: 'rows', by, like, from, most: MOST_ROWS }));
    } catch (error) {
      table.replaceChildren();
      byId('rowcount').textContent = words(error);
      return;
    }
    // An answer that was overtaken by another question is not shown.
    if (by !== byId('by').value || like !== byId('like').value || from !== this.#from) return;
    const { head, rows, total } = found;
    const last = from + rows.length;
    byId('rowcount').textContent = total ? `Rows ${from + 1} to ${last} of ${total}.` : 'No row matches.';
    byId('back').disabled = from === 0;
    byId('forth').disabled = last >= total;
    // What a row is called stands first.
    const name = Math.max(0, head.indexOf('name'));
    const order = [name, ...head.keys()].filter((at, place) => place === 0 || at !== name);
    const cell = (row, at, place) => {
      const number = typeof row[at] === 'number';
      return made(place ? 'td' : 'th', { ...number && { class: 'n' }, ...!place && { scope: 'row' } }, String(row[at]));
    };
    table.replaceChildren(
      made('caption', { class: 'unseen' }, `Table by ${by}`),
      made('thead', {}, made('tr', {}, ...order.map((at) => made('th', { scope: 'col' }, head[at].replaceAll('_', ' '))))),
      made('tbody', {}, ...rows.map((row) => made('tr', {}, ...order.map((at, place) => cell(row, at, place))))),
    );
  }

  async #report() {
    const panel = byId('report');
    const note = byId('noreport');
    try {
      if (this.#blocks) throw new Refused('errors leave no table to trust; put them right first');
      const { body } = await this.#compiler.ask({ ask: 'make', form: 'report' });
      const frame = made('iframe', { title: 'Report of the display', class: 'report' });
      frame.srcdoc = new TextDecoder().decode(body);
      note.textContent = '';
      panel.querySelector('iframe')?.remove();
      panel.append(frame);
    } catch (error) {
      panel.querySelector('iframe')?.remove();
      note.textContent = words(error);
    }
  }

  async #changes() {
    const text = byId('changetext');
    try {
      const { body } = await this.#compiler.ask({ ask: 'make', form: 'changes' });
      text.textContent = new TextDecoder().decode(body);
    } catch (error) {
      text.textContent = words(error);
    }
  }
}

/** Why something was not done, as a sentence. */
export function words(error) {
  const why = error.message;
  return `${why[0].toUpperCase()}${why.slice(1)}.`;
}
