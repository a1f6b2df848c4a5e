// The little Markdown that hovers and pages of codes are written in, as elements: never as markup.
import { made } from './views.js';

function inline(text) {
  return text.split(/(`[^`]+`|\*\*[^*]+\*\*)/).filter(Boolean).map((part) => {
    if (part.length > 2 && part.startsWith('`') && part.endsWith('`')) return made('code', {}, part.slice(1, -1));
    if (part.length > 4 && part.startsWith('**')) return made('strong', {}, part.slice(2, -2));
    return part;
  });
}

/** A text as paragraphs, lists and blocks of code. */
export function shown(markdown) {
  const parts = [];
  const fences = markdown.split(/^```.*$/m);
  fences.forEach((text, at) => {
    if (at % 2) {
      parts.push(made('pre', {}, text.replace(/^\n|\n$/g, '')));
      return;
    }
    for (const block of text.split(/\n\s*\n/)) {
      const lines = block.split('\n').map((line) => line.trim()).filter(Boolean);
      if (!lines.length) continue;
      if (lines.every((line) => /^[-*] /.test(line))) {
        parts.push(made('ul', {}, ...lines.map((line) => made('li', {}, ...inline(line.slice(2))))));
      } else {
        parts.push(made('p', {}, ...inline(lines.join(' ').replace(/^#+ /, ''))));
      }
    }
  });
  return made('div', { class: 'prose' }, ...parts);
}
