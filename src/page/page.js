'use strict';
// Answers "what is where?" from the data within the page. Nothing is fetched and nothing is kept.
(() => {
  const data = document.getElementById('data');
  const form = document.getElementById('ask');
  if (!data || !form) return;
  const field = document.getElementById('question');
  const answer = document.getElementById('answer');
  const found = document.getElementById('found');
  const most = 100;
  const { slots, controllers, ports, shapes, strings, reserved } = JSON.parse(data.textContent);

  const STORED = 1;
  const SHARED = 2;
  const place = (channel) => `${Math.floor(channel / slots) + 1}/${channel % slots + 1}`;
  const thing = ([name, label, port, shape, start, end, before, flags, id]) => ({
    name, label, port: ports[port], shape: shapes[shape], start, end, before, flags, id,
  });
  const isFixture = (string) => string.shape[2] === '';

  // Which of the slots that a string uses a channel is, from 0: only some slots of each universe may be in use, and
  // where nodes are not cut, a universe takes only whole ones. Null where the channel is left free.
  function slotAt(string, channel) {
    const each = string.shape[1];
    const [, whole, used] = controllers[string.port[1]];
    const unit = whole === 1 && each <= used ? each : 1;
    const fit = (room) => Math.max(0, Math.floor(room / unit) * unit);
    const first = Math.floor(string.start / slots);
    const here = fit(used - string.start % slots);
    const universe = Math.floor(channel / slots);
    if (universe === first) {
      const at = channel - string.start;
      return at < here ? at : null;
    }
    const at = channel % slots;
    return at < fit(used) ? here + (universe - first - 1) * fit(used) + at : null;
  }

  function nodeAt(string, channel) {
    const each = string.shape[1];
    const at = slotAt(string, channel);
    return at === null ? null : { node: Math.floor(at / each) + 1, slot: at % each };
  }

  // A fixture on a DMX output lies in one universe, of which all slots are sent.
  function fixtureSlot(string, channel) {
    const one = Math.floor(string.start / slots) === Math.floor(string.end / slots);
    return one ? channel - string.start : slotAt(string, channel);
  }

  // The letter of a slot of a node; with two slots a letter, which of the two.
  function letter(string, slot) {
    const [, each, letters] = string.shape;
    const per = Math.max(1, Math.round(each / letters.length));
    const name = letters[Math.floor(slot / per)] || '?';
    return per > 1 ? `${name} (slot ${slot % per + 1} of ${per})` : name;
  }

  // Where a node is by strand or run, and its place in the data line.
  function whereabouts(string, node) {
    const [, , , strand, runs] = string.shape;
    const words = [];
    let line = string.before + node;
    let seen = 0;
    for (const run of runs) {
      if (typeof run === 'number') {
        line += run;
      } else if (seen + run[1] >= node) {
        if (run[0]) words.push(`node ${node - seen} of its run ${run[0]}`);
        break;
      } else {
        seen += run[1];
      }
    }
    if (strand > 0) words.push(`strand ${Math.ceil(node / strand)}, node ${(node - 1) % strand + 1} of it`);
    if (!(string.flags & STORED)) words.push(`node ${line} of the data line`);
    return words.join('; ');
  }

  function say(text) {
    const line = document.createElement('p');
    line.textContent = text;
    answer.append(line);
  }

  function link(href, text) {
    const a = document.createElement('a');
    a.href = href;
    a.textContent = text;
    return a;
  }

  function portWords(string) {
    const [name, , outlet] = string.port;
    return outlet ? `${name}, at ${outlet}` : name;
  }

  // What is said when something is added: a list entry with links into the page.
  function show(string, words) {
    const item = document.createElement('li');
    const [, , , index] = string.port;
    item.append(link(`#s${string.id}`, string.name), string.label ? ` (${string.label}) ` : ' ');
    item.append('on ', link(`#p${index}`, portWords(string)), `, ${place(string.start)} to ${place(string.end)}`);
    const flags = [];
    if (string.flags & STORED) flags.push('stored');
    if (string.flags & SHARED) flags.push('shows another string\'s data');
    if (flags.length) item.append(`, ${flags.join(', ')}`);
    if (words) {
      const more = document.createElement('div');
      more.textContent = words;
      item.append(more);
    }
    found.append(item);
  }

  function onChannel(channel) {
    const title = `${place(channel)} is channel ${channel + 1}`;
    const here = strings.map(thing).filter((s) => s.start <= channel && channel <= s.end);
    const hits = [];
    for (const string of here) {
      if (isFixture(string)) {
        const at = fixtureSlot(string, channel);
        if (at !== null) hits.push([string, `slot ${at + 1} of ${string.shape[5]} of the fixture`]);
        continue;
      }
      const at = nodeAt(string, channel);
      if (at) {
        const node = `node ${at.node} of ${string.shape[0]}, colour ${letter(string, at.slot)}`;
        hits.push([string, node + (whereabouts(string, at.node) ? `; ${whereabouts(string, at.node)}` : '')]);
      }
    }
    if (hits.length) {
      const [string, words] = hits[0];
      say(`${title}: ${string.name}, ${words}, on ${portWords(string)}.`);
      hits.forEach(([each, more]) => show(each, more));
    } else {
      say(`${title}: free. ${ownerWords(Math.floor(channel / slots) + 1)}`);
      neighbours(channel);
    }
  }

  function neighbours(channel) {
    let before = null;
    let after = null;
    for (const string of strings.map(thing)) {
      if (string.end < channel && (!before || string.end > before.end)) before = string;
      if (string.start > channel && (!after || string.start < after.start)) after = string;
    }
    if (before) show(before, 'the last before it');
    if (after) show(after, 'the first behind it');
  }

  function inUniverse(universe) {
    const from = (universe - 1) * slots;
    return strings.map(thing).filter((s) => s.start < from + slots && s.end >= from);
  }

  function ownerWords(universe) {
    const held = reserved.find(([first, last]) => first <= universe && universe <= last);
    if (held) return `Universe ${universe} is reserved: ${held[2]}.`;
    const own = inUniverse(universe).find((s) => !(s.flags & SHARED)) || inUniverse(universe)[0];
    return own ? `Universe ${universe} is used by ${controllers[own.port[1]][0]}.` : `Universe ${universe} is not in use.`;
  }

  function onUniverse(universe) {
    const here = inUniverse(universe);
    say(`${ownerWords(universe)} ${count(here.length, 'string or fixture', 'strings or fixtures')} in it.`);
    list(here.sort((a, b) => a.start - b.start));
    const target = document.getElementById(`u${universe}`);
    if (target) answer.lastChild.append(' ', link(`#u${universe}`, 'See its strip.'));
  }

  const count = (number, one, many) => `${number} ${number === 1 ? one : many}`;

  function list(hits) {
    hits.slice(0, most).forEach((string) => show(string, isFixture(string)
      ? count(string.shape[5], 'slot', 'slots') : count(string.shape[0], 'node', 'nodes')));
    if (hits.length > most) say(`The first ${most} are listed.`);
  }

  function named(text) {
    const wanted = text.toLowerCase();
    const all = strings.map(thing);
    const is = (test) => all.filter((s) => [s.name, s.label, s.port[0], s.port[2]].some((t) => test(t.toLowerCase())));
    const exact = is((t) => t === wanted || t.startsWith(`${wanted}[`) || t.startsWith(`${wanted}.`));
    const hits = exact.length ? exact : is((t) => t.includes(wanted));
    say(hits.length ? `${count(hits.length, 'string or fixture', 'strings or fixtures')} for "${text}".`
      : `Nothing here is called "${text}".`);
    list(hits);
  }

  function ask(text) {
    answer.replaceChildren();
    found.replaceChildren();
    if (text === '') return;
    const slot = /^(\d{1,6})\s*[/:]\s*(\d{1,4})$/.exec(text);
    const channel = /^(?:channel|ch)\s*([\d,]{1,12})$/i.exec(text);
    const universe = /^(?:universe|u)\s*(\d{1,6})$/i.exec(text);
    const number = /^\d{1,9}$/.exec(text);
    if (slot) {
      const at = Number(slot[2]);
      if (at < 1 || at > slots || Number(slot[1]) < 1) say(`A universe has slots 1 to ${slots} here.`);
      else onChannel((Number(slot[1]) - 1) * slots + at - 1);
    } else if (channel) {
      const at = Number(channel[1].replaceAll(',', ''));
      if (at < 1) say('Channels count from 1.');
      else onChannel(at - 1);
    } else if (universe) {
      onUniverse(Number(universe[1]));
    } else if (number && Number(text) > 0) {
      onChannel(Number(text) - 1);
      if (inUniverse(Number(text)).length) onUniverse(Number(text));
    } else {
      named(text);
    }
  }

  form.hidden = false;
  form.addEventListener('submit', (event) => {
    event.preventDefault();
    ask(field.value.trim());
  });
  document.addEventListener('keydown', (event) => {
    const typing = event.target instanceof HTMLInputElement;
    if (event.key === '/' && !typing && !event.ctrlKey && !event.metaKey && !event.altKey) {
      event.preventDefault();
      field.focus();
    }
  });
})();
